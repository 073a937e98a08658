"""One thing sold by weight over the counter, as a scale tells it."""

from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from apiary_sales.billing.models import StandSale
from apiary_sales.billing.services import stand
from apiary_sales.billing.services.stand import PaymentMade
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules import weighing
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.weighing import Weighed
from inventory.bottling.models import Product
from inventory.shared.errors import Problems, parameters_named
from inventory.shared.people import Person
from inventory.stock.models import Place


def sell(
    *,
    place: Place,
    unit_price: Decimal,
    method: str,
    tendered_cents: int | None,
    sold_by: Person,
    key: str,
    vessel: Place | None = None,
    product: Product | None = None,
    gross_grams: int | None = None,
    tare_grams: int | None = None,
    net_grams: int | None = None,
    sold_at: datetime | None = None,
    not_before: datetime | None = None,
    has_happened: bool = False,
) -> StandSale:
    """Sell honey of a vessel, or goods at a place, weighed full and empty or by the net weight.

    `sold_at`, `not_before` and `has_happened` are those of `stand.sell`.
    Raises what `stand.sell` raises, and `BadValue` where not one thing or not one weight is given.
    """
    problems = Problems()
    if (vessel is None) == (product is None):
        problems.add("vessel", _("Name a vessel or a product, and not both."))
    weighed = _weighed(problems, gross_grams, tare_grams, net_grams)
    problems.raise_any()
    line = LineWanted(
        OrderLine.Kind.WEIGHED if product else OrderLine.Kind.HONEY,
        weighed.net_grams,
        unit_price,
        product=product,
        drum=vessel,
        is_drawn=vessel is not None,
        weighed=weighed,
    )
    weight = "net_grams" if gross_grams is None else "gross_grams"
    names = {
        "lines.0.quantity": weight,
        "lines.0.drum": "vessel",
        "lines.0.product": "product",
        "lines.0.unit_price": "unit_price",
        "payments.0.method": "method",
        "payments.0.tendered_cents": "tendered_cents",
    }
    with parameters_named(**names):
        return stand.sell(
            lines=[line],
            place=place,
            payments=[PaymentMade(method, tendered_cents=tendered_cents)],
            source=StandSale.Source.WEIGHT,
            sold_by=sold_by,
            key=key,
            sold_at=sold_at,
            not_before=not_before,
            has_happened=has_happened,
        )


def _weighed(
    problems: Problems, gross_grams: int | None, tare_grams: int | None, net_grams: int | None
) -> Weighed:
    if (gross_grams is None) == (net_grams is None):
        problems.add("net_grams", _("Enter the net weight, or the full and the empty container."))
    elif gross_grams is not None and tare_grams is None:
        problems.add("tare_grams", _("Enter what the empty container weighs, or 0."))
    elif gross_grams is not None and tare_grams is not None:
        return weighing.on_scale(gross_grams=gross_grams, tare_grams=tare_grams)
    return Weighed(net_grams or 0)
