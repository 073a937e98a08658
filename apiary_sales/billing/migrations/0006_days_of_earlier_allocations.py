"""Earlier money was put to its bill when both were there; when it was entered is not known."""

from django.db import migrations
from django.db.models import OuterRef, Subquery
from django.db.models.functions import Greatest


def date_them(apps, schema_editor):
    Allocation = apps.get_model("billing", "Allocation")
    Invoice = apps.get_model("billing", "Invoice")
    Payment = apps.get_model("billing", "Payment")
    received = Payment._base_manager.filter(pk=OuterRef("payment")).values("received_on")
    issued = Invoice._base_manager.filter(pk=OuterRef("invoice")).values("issued_on")
    Allocation._base_manager.update(
        put_on=Greatest(Subquery(received), Subquery(issued)), put_at=None
    )


class Migration(migrations.Migration):
    dependencies = [("billing", "0005_dated_allocations")]

    operations = [migrations.RunPython(date_them, migrations.RunPython.noop)]
