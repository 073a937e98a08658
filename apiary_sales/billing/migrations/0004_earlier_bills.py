"""Say of earlier bills what later ones say themselves: their day, their taxes, what they credit."""

from django.db import migrations
from django.db.models import F, Max, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone


def say(apps, schema_editor):
    Entry = apps.get_model("billing", "Entry")
    Invoice = apps.get_model("billing", "Invoice")
    InvoiceLine = apps.get_model("billing", "InvoiceLine")
    Entry._base_manager.update(happened_on=F("entered_on"))
    handed_over = (
        InvoiceLine._base_manager.filter(invoice=OuterRef("pk"))
        .order_by()
        .values("invoice")
        .annotate(day=Max("fulfilment_line__fulfilment__filled_on"))
        .values("day")
    )
    Invoice._base_manager.update(supplied_on=Coalesce(Subquery(handed_over), F("issued_on")))
    _say_what_is_credited(InvoiceLine)
    InvoiceLine._base_manager.filter(tax_percent__gt=0).update(tax_category="S")
    exempt = Invoice._base_manager.exclude(exemption="")
    InvoiceLine._base_manager.filter(tax_percent=0, invoice__in=exempt).update(
        tax_category="E",
        exemption_reason=Subquery(
            Invoice._base_manager.filter(pk=OuterRef("invoice")).values("exemption")[:1]
        ),
    )
    FulfilmentLine = apps.get_model("orders", "FulfilmentLine")
    billed = (
        InvoiceLine._base_manager.filter(fulfilment_line=OuterRef("pk"))
        .order_by()
        .values("fulfilment_line")
        .annotate(cents=Sum("amount_cents"))
        .values("cents")
    )
    FulfilmentLine._base_manager.update(billed_cents=Subquery(billed))
    _write_taxes(apps)
    _owe_deposits(apps)


def _say_what_is_credited(InvoiceLine):
    notes = InvoiceLine._base_manager.filter(invoice__credits__isnull=False).order_by("pk")
    for pk, invoice, goods in notes.values_list("pk", "invoice__credits", "fulfilment_line"):
        billed = InvoiceLine._base_manager.filter(invoice=invoice, fulfilment_line=goods)
        InvoiceLine._base_manager.filter(pk=pk).update(
            credits_line=billed.order_by("pk").first(), credited_as="goods"
        )


def _write_taxes(apps):
    InvoiceLine = apps.get_model("billing", "InvoiceLine")
    InvoiceLineTax = apps.get_model("billing", "InvoiceLineTax")
    rows = (
        InvoiceLineTax(
            line=line,
            name=line.tax_name,
            percent=line.tax_percent,
            base_cents=line.amount_cents,
            tax_cents=line.tax_cents,
        )
        for line in InvoiceLine._base_manager.filter(tax_percent__gt=0).order_by("pk").iterator()
    )
    InvoiceLineTax._base_manager.bulk_create(rows, batch_size=500)


def _owe_deposits(apps):
    """Deposits were booked as sales: what is still out becomes a liability, by one entry."""
    Entry = apps.get_model("billing", "Entry")
    EntryLine = apps.get_model("billing", "EntryLine")
    InvoiceLine = apps.get_model("billing", "InvoiceLine")
    out = InvoiceLine._base_manager.filter(
        Q(fulfilment_line__order_line__kind="drum_deposit")
    ).aggregate(cents=Sum("amount_cents"))["cents"]
    if not out:
        return
    today = timezone.localdate()
    entry = Entry._base_manager.create(kind="adjustment", happened_on=today, entered_on=today)
    EntryLine._base_manager.create(entry=entry, account="sales", amount_cents=out)
    EntryLine._base_manager.create(entry=entry, account="deposits", amount_cents=-out)


class Migration(migrations.Migration):
    dependencies = [("billing", "0003_partial_and_late")]

    operations = [migrations.RunPython(say, migrations.RunPython.noop)]
