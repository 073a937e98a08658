from dataclasses import asdict

from django.db import migrations
from django.db.models import Sum
from django.db.models.functions import Coalesce

from inventory.stock.costing import HeapAtAverage

# What these were when this was written.
CHANGES_MAX = 50
IN_HOUSE = ("tank", "drum", "pail", "tote", "shelf", "stand", "van", "consignment", "returned")


def fill(apps, schema_editor):
    """Keep the averages of parts, as they follow from their history."""
    Item, PostingLine, AverageClosing = (
        apps.get_model("inventory", name) for name in ("Item", "PostingLine", "AverageClosing")
    )
    for item in Item.objects.filter(kind="part").order_by("pk"):
        rows = (
            PostingLine._base_manager.filter(
                item=item,
                place__kind__in=IN_HOUSE,
                posting__reverses=None,
                posting__reversed_by=None,
                posting__corrects__reversed_by=None,
            )
            .annotate(
                counts_at=Coalesce("posting__corrects", "posting"),
                paid=Coalesce(
                    "posting__corrects__part_receipt__cost_cents",
                    "posting__part_receipt__cost_cents",
                ),
            )
            .values("counts_at", "paid")
            .annotate(pieces=Sum("quantity"))
            .exclude(pieces=0)
            .order_by("counts_at")
            .values_list("counts_at", "pieces", "paid")
        )
        heap, closings = HeapAtAverage(), []
        for number, (posting, pieces, paid) in enumerate(rows.iterator(), start=1):
            heap.change(pieces, paid)
            if number % CHANGES_MAX == 0:
                closings.append(
                    AverageClosing(item=item, posting_id=posting, **asdict(heap.state))
                )
        AverageClosing.objects.bulk_create(closings)


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0047_average_closings_of_parts'),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
