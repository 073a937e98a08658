"""Rows of past sales: checked and kept in batches, and counted once their import is complete."""

from datetime import date

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.imports.models import Import, PastSale
from apiary_sales.imports.models.past_sales import first_own_days
from apiary_sales.imports.rules.cells import Figures
from apiary_sales.orders.models import Order
from inventory.shared import checks
from inventory.shared.errors import Problems
from inventory.stock import rules

AMOUNT_CENTS_MAX = 100_000_000
YEAR_MIN = 1990


def past_sale(
    *, figures: Figures, of_import: Import, row_number: int, own_days: dict[str, date]
) -> PastSale:
    """Return a past sale, not saved; raises every problem, each at the name of its column.

    `own_days` has the first day of own sales in each channel: from then on the books have them.
    """
    problems = Problems()
    product = figures.get("product")
    pieces: int | None = figures.get("pieces")
    grams: int | None = figures.get("grams")
    is_weighed = product is None or product.item.is_weighed
    if is_weighed and grams is None:
        problems.add(
            "grams",
            _("Enter the weight: honey in bulk and what is sold by weight have no pieces."),
        )
    elif is_weighed and grams is not None:
        checks.check_grams(problems, "grams", grams)
    elif pieces is None:
        problems.add("pieces", _("Enter how many pieces were sold."))
    else:
        rules.check_pieces(problems, "pieces", pieces)
    customer = figures.get("customer")
    usual = Order.Channel.SHOP if customer else Order.Channel.STAND
    if product is None:
        usual = Order.Channel.BULK
    channel = figures.get("channel", usual.value)
    if channel == Order.Channel.SERVICE:
        problems.add("channel", _("Services are not among past sales. Leave this row out."))
    _check_day(problems, figures["day"], channel, own_days)
    if not 0 <= figures["amount"] <= AMOUNT_CENTS_MAX:
        problems.add("amount", _("Enter an amount from 0 to a million."))
    problems.raise_any()
    return PastSale(
        of_import=of_import,
        row_number=row_number,
        day=figures["day"],
        product=product,
        quantity=(grams if is_weighed else pieces) or 0,
        channel=channel,
        customer=customer,
        amount_cents=figures["amount"],
    )


def _check_day(problems: Problems, day: date, channel: str, own_days: dict[str, date]) -> None:
    first = own_days.get(channel)
    if day > timezone.localdate():
        problems.add("day", _("This day is in the future. Check the date."))
    elif day.year < YEAR_MIN:
        problems.add("day", _("This day is too long ago. Check the year."))
    elif first and day >= first:
        problems.add(
            "day",
            _(
                "Your books have sales of this channel from %(first)s on, so this day would be "
                "counted twice. Leave out rows of that day and later."
            )
            % {"first": date_format(first)},
        )


def own_days() -> dict[str, date]:
    """Return the first day of own sales by channel."""
    return first_own_days()
