"""Set the price of a pound: a new row from a day on, so that the history stays."""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.pricing.models import WeightPrice
from apiary_sales.pricing.services.prices import PER_POUND_MAX, newest_or_saved
from inventory.bottling.models import Product, Variety
from inventory.shared import words
from inventory.shared.errors import Problems
from inventory.shared.weights import unit_name


@transaction.atomic
def set_price(
    *,
    tier: str,
    price_per_pound: Decimal | None,
    valid_from: date,
    product: Product | None = None,
    variety: Variety | None = None,
) -> WeightPrice:
    """Set what a pound costs in a tier from a day on; return the row.

    With a product it is the price of goods sold by weight, with a variety that of such honey, with
    neither that of any honey. Without a price the offer ends that day. The same price set twice
    for the same day stays one row. Raises `BadValue` or `SeveralProblems`.
    """
    problems = Problems()
    if product is not None and variety is not None:
        problems.add("variety", _("Choose goods or a variety of honey, not both."))
    elif product is not None and not product.item.is_weighed:
        problems.add(
            "product",
            _("%(product)s is sold by the piece. Set its price among the jars.")
            % {"product": product.name},
        )
    if price_per_pound is not None and price_per_pound > PER_POUND_MAX:
        problems.add(
            "price_per_pound",
            _("%(price)s a %(unit)s is too much. Check the decimal point.")
            % {"price": words.money(int(price_per_pound * 100)), "unit": unit_name()},
        )
    problems.raise_any()
    row = WeightPrice(
        tier=tier,
        product=product,
        variety=variety,
        price_per_pound=price_per_pound,
        valid_from=valid_from,
    )
    same_day = WeightPrice.objects.filter(
        tier=tier, product=product, variety=variety, valid_from=valid_from
    )
    return newest_or_saved(row, same_day, ("price_per_pound",))
