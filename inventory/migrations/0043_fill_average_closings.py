from itertools import groupby

from django.db import migrations
from django.db.models import Sum
from django.db.models.functions import Coalesce

from inventory.shared.money import share_cents
from inventory.stock.costing import AverageCost

# What these were when this was written.
CHANGES_MAX = 200
IN_HOUSE = ("tank", "drum", "pail", "tote", "shelf", "stand", "van", "consignment", "returned")


def fill(apps, schema_editor):
    """Keep the averages of a house that values by them, as they follow from its history."""
    Item, PostingLine, AverageClosing, ProductionSettings = (
        apps.get_model("inventory", name)
        for name in ("Item", "PostingLine", "AverageClosing", "ProductionSettings")
    )
    if not ProductionSettings.objects.filter(cost_method="average").exists():
        return
    for item in Item.objects.filter(kind__in=["packed", "goods"]).order_by("pk"):
        rows = (
            PostingLine._base_manager.filter(
                item=item,
                lot__owner=None,
                place__kind__in=IN_HOUSE,
                posting__reverses=None,
                posting__reversed_by=None,
                posting__corrects__reversed_by=None,
            )
            .annotate(counts_at=Coalesce("posting__corrects", "posting"))
            .values("counts_at", "lot_id")
            .annotate(change=Sum("quantity"))
            .exclude(change=0)
            .order_by("counts_at", "lot_id")
            .values_list("counts_at", "lot__cost_cents", "lot__quantity_made", "change")
        )
        average, closings = AverageCost(), []
        changed = groupby(rows.iterator(), key=lambda row: row[0])
        for number, (posting, changes) in enumerate(changed, start=1):
            for _posting, cost_cents, made, change in changes:
                is_known = cost_cents is not None and made > 0
                average.change(change, share_cents(cost_cents, change, made) if is_known else None)
            if number % CHANGES_MAX == 0:
                state = average.state
                closings.append(
                    AverageClosing(
                        item=item,
                        posting_id=posting,
                        quantity=state.quantity,
                        cents=state.cents,
                        taken=state.taken,
                        is_known=state.is_known,
                    )
                )
        AverageClosing.objects.bulk_create(closings)


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0042_average_closings'),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
