"""The deposits and drums sold of an order beside the drums that leave with it."""

from collections.abc import Iterable

from django.utils.translation import ngettext

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import DRUM_CHARGES, is_whole_drum


def notice_of_missing(lines: Iterable[OrderLine]) -> str:
    """Say that some drums of an order have a deposit or are sold, and others are not; else "".

    An order without any of both is of drums that the buyer brought, or that are lent for nothing.
    """
    lines = list(lines)
    drums = sum(is_whole_drum(line) and line.quantity > 0 for line in lines)
    charged = sum(line.quantity for line in lines if line.kind in DRUM_CHARGES)
    if not 0 < charged < drums:
        return ""
    return ngettext(
        "%(drums)s drums leave, and %(charged)s of them is on deposit or sold. Add a deposit if "
        "the new drum has one.",
        "%(drums)s drums leave, and %(charged)s of them are on deposit or sold. Add a deposit if "
        "the new drum has one.",
        charged,
    ) % {"drums": drums, "charged": charged}
