"""Every receipt written before has a sale beside it: where it was sold, when, and by whom."""

import secrets
from datetime import datetime, time

from django.db import migrations
from django.utils import timezone

RECEIPTS = "R"
STORES = ("stand", "van", "shelf")
CHUNK = 500


def make_sales(apps, schema_editor):
    Invoice = apps.get_model("billing", "Invoice")
    StandSale = apps.get_model("billing", "StandSale")
    Fulfilment = apps.get_model("orders", "Fulfilment")
    PostingLine = apps.get_model("inventory", "PostingLine")
    Place = apps.get_model("inventory", "Place")
    receipts = (
        Invoice._base_manager.filter(
            series__startswith=RECEIPTS, credits=None, order__isnull=False, stand_sale=None
        )
        .order_by("id")
        .iterator(CHUNK)
    )
    usual = next(
        (
            place
            for kind in STORES
            if (place := Place._base_manager.filter(kind=kind).order_by("id").first())
        ),
        None,
    )
    made = []
    for receipt in receipts:
        fulfilment = (
            Fulfilment._base_manager.filter(order=receipt.order_id)
            .select_related("posting")
            .order_by("id")
            .first()
        )
        posting = fulfilment.posting if fulfilment else None
        place = None
        if posting is not None:
            line = (
                PostingLine._base_manager.filter(
                    posting=posting, quantity__lt=0, place__kind__in=STORES
                )
                .order_by("id")
                .first()
            )
            place = line.place_id if line else None
        if place is None and usual is None:
            continue
        noon = timezone.make_aware(datetime.combine(receipt.supplied_on, time(12)))
        credited = Invoice._base_manager.filter(credits=receipt).order_by("id").first()
        made.append(
            StandSale(
                receipt=receipt,
                place_id=place or usual.pk,
                source="other",
                sold_at=posting.occurred_at if posting else noon,
                sold_by_id=receipt.issued_by_id,
                sent_by_id=receipt.issued_by_id,
                key=receipt.idempotency_key.removesuffix(":receipt"),
                read_code=secrets.token_urlsafe(16),
                undone_on=credited.issued_on if credited else None,
                recorded_at=posting.recorded_at if posting else noon,
            )
        )
        if len(made) == CHUNK:
            StandSale._base_manager.bulk_create(made)
            made = []
    StandSale._base_manager.bulk_create(made)


class Migration(migrations.Migration):
    dependencies = [
        ("billing", "0016_stand_sales"),
        ("orders", "0011_changed_orders"),
        ("inventory", "0034_tips"),
    ]

    operations = [migrations.RunPython(make_sales, migrations.RunPython.noop)]
