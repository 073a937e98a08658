"""Set what selling through a channel takes from the price."""

from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.pricing.models import ChannelCost
from inventory.shared import words
from inventory.shared.checks import save_checked
from inventory.shared.errors import Problems
from inventory.shared.weights import unit_name

PIECE_CENTS_MAX = 100_000
PER_POUND_MAX = 1000


@transaction.atomic
def set_cost(
    *,
    channel: str,
    discount_percent: Decimal,
    card_percent: Decimal,
    piece_cents: int,
    per_pound: Decimal,
) -> ChannelCost:
    """Set what one channel takes from the price and return it. Raises `BadValue`."""
    problems = Problems()
    for name, percent in (("discount_percent", discount_percent), ("card_percent", card_percent)):
        if not 0 <= percent < 100:
            problems.add(name, _("Enter 0 percent or more, and less than 100."))
    if not 0 <= piece_cents <= PIECE_CENTS_MAX:
        problems.add(
            "piece_cents",
            _("Enter a cost from 0 to %(most)s per piece.") % {"most": words.number(1000)},
        )
    if not 0 <= per_pound <= 1000:
        problems.add(
            "per_pound",
            _("Enter a cost from 0 to %(most)s per %(unit)s.")
            % {"most": words.number(1000), "unit": unit_name()},
        )
    problems.raise_any()
    row = ChannelCost.objects.select_for_update().filter(channel=channel).first()
    row = row or ChannelCost(channel=channel)
    row.discount_percent = discount_percent
    row.card_percent = card_percent
    row.piece_cents = piece_cents
    row.per_pound = per_pound
    save_checked(row)
    return row
