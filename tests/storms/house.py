"""The house that the storms are about, on the database of DATABASE_URL: made, and read at the end.

Run its functions with `manage.py shell`; what they find out is printed as JSON.
"""

import json
from collections import defaultdict
from datetime import date

from django.apps import apps
from django.core.management import call_command
from django.db.models import Count, Sum

from apiary_sales.billing.models import Invoice, StandSale
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from apiary_sales.pricing.services import prices
from inventory.bottling.models import BottlingRun, Product
from inventory.stock.models import Balance, Place
from tests import builders

# Enough for any storm, and so nothing is refused for want of jars or honey.
PIECES = 1_000_000
GRAMS = 20_000_000


def make() -> None:
    """Migrate the house, put jars and honey in it, and print what its programs need to know."""
    call_command("migrate", verbosity=0, interactive=False)
    stand = builders.place("storm-stand", Place.Kind.STAND)
    pound = builders.product("Storm pound", code="storm-pound")
    counted = builders.product("Storm half", "0.5", code="storm-half")
    prices.set_piece(
        product=pound,
        tier=Customer.Tier.STAND,
        piece_cents=900,
        valid_from=date(2026, 1, 1),
    )
    builders.packed_lot(pound, stand, PIECES)
    lot = builders.packed_lot(counted, stand, PIECES)
    builders.lot_in(builders.place("storm-tank", capacity_litres=20_000), GRAMS)
    shop = builders.customer("Storm Shop", kind="shop", tier="shop")
    found = {
        "authorization": builders.authorization("owner"),
        "customer": shop.pk,
        "counted_lot": lot.pk,
        "pieces": PIECES,
        "today": str(builders.today()),
        "before": _counts(),
    }
    print(json.dumps(found))


def read() -> None:
    """Print what the books hold after a storm."""
    jars = Balance.objects.filter(place__code="storm-stand")
    pound, half = (Product.objects.get(code=code).item_id for code in ("storm-pound", "storm-half"))
    payments = apps.get_model("billing.Payment").objects.filter(customer__name="Storm Shop")
    found = {
        "counts": _counts(),
        "gaps": _gaps(),
        "pounds": jars.filter(item=pound).aggregate(sum=Sum("quantity"))["sum"],
        "halves": jars.filter(item=half).aggregate(sum=Sum("quantity"))["sum"],
        "paid_cents": payments.aggregate(sum=Sum("amount_cents"))["sum"] or 0,
        "brought_in": dict(
            Customer.objects.filter(name__startswith="Bee Shop ")
            .values_list("name")
            .annotate(rows=Count("pk"))
        ),
    }
    print(json.dumps(found))


def _counts() -> dict[str, int]:
    """Return how many there are of each kind of thing that the programs make."""
    return {
        "sale": StandSale.objects.count(),
        "order": Order.objects.exclude(channel="stand").count(),
        "invoice": Invoice.objects.filter(credits=None, order__channel="shop").count(),
        "credit": Invoice.objects.filter(credits__isnull=False).count(),
        "payment": apps.get_model("billing.Payment").objects.filter(method="transfer").count(),
        "run": BottlingRun.objects.count(),
    }


def _gaps() -> list[str]:
    """Name each number that is missing between the first and the last of its series."""
    series = defaultdict(set)
    for letter, number in Invoice.objects.filter(opening_number="").values_list("series", "number"):
        series[letter].add(number)
    for model in (Order, BottlingRun):
        for text in model.objects.values_list("number", flat=True):
            letters, _dash, digits = text.rpartition("-")
            series[letters].add(int(digits))
    return [
        f"{letters}-{missing}"
        for letters, numbers in series.items()
        for missing in sorted(set(range(min(numbers), max(numbers) + 1)) - numbers)
    ]
