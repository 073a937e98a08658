"""Honey to draw and wax to weigh out, for tests of what is sold by weight."""

from datetime import date
from decimal import Decimal

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from inventory.bottling.models import Product
from inventory.stock.models import Balance, Item, Lot, Place
from inventory.stock.services import ledger
from tests import builders


def wax(name: str = "Beeswax") -> Product:
    """Make goods that are counted in grams."""
    item = Item.objects.create(kind=Item.Kind.GOODS, name=name, is_weighed=True)
    code = name.lower()
    return Product.objects.create(item=item, kind="goods", code=code, name=name, form="")


def wax_lot(
    product: Product,
    place: Place,
    grams: int,
    *,
    code: str = "W-1",
    cost_cents: int | None = None,
    made_on: date = date(2026, 6, 1),
) -> Lot:
    """Put grams of a lot of goods on a shelf by a posting."""
    lot = Lot.objects.create(
        kind=Lot.Kind.GOODS,
        code=code,
        season=2026,
        made_on=made_on,
        quantity_made=grams,
        cost_cents=cost_cents,
        product=product,
    )
    ledger.post(
        kind="bottling",
        lines=ledger.move(
            item=product.item,
            lot=lot,
            source=Place.objects.outside(Place.Kind.PACKING),
            target=place,
            quantity=grams,
        ),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    return lot


def honey_line(vessel: Place, grams: int, price: str = "4.00", **fields) -> LineWanted:
    return LineWanted(
        OrderLine.Kind.HONEY, grams, Decimal(price), drum=vessel, is_drawn=True, **fields
    )


def wax_line(product: Product, grams: int, price: str = "9.50", **fields) -> LineWanted:
    return LineWanted(OrderLine.Kind.WEIGHED, grams, Decimal(price), product=product, **fields)


def there(place: Place) -> tuple[int, int]:
    """Return what is in or at a place, and what of it is reserved."""
    rows = Balance.objects.filter(place=place, quantity__gt=0).values_list("quantity", "reserved")
    return sum(row[0] for row in rows), sum(row[1] for row in rows)
