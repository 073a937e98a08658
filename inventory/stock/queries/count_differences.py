"""What counts found missing of lots, and what they found beyond the books, never set off."""

from dataclasses import dataclass

from django.db.models import Sum
from django.db.models.functions import Coalesce

from inventory.stock.models import Place, PostingLine
from inventory.stock.models.lots import LotKeys


@dataclass(frozen=True)
class CountDifference:
    """What counts of one lot lost and found, each added up over its lines."""

    lost: int = 0
    found: int = 0


def by_lot(family: LotKeys) -> dict[int, CountDifference]:
    """Return the count differences by the key of the lot; undone counts are left out.

    A count is of one place: a surplus in one place does not make up for a loss in another.
    """
    found: dict[int, CountDifference] = {}
    # A count with its corrections is one count.
    for lot, change in (
        PostingLine.objects.standing()
        .filter(lot__in=family, place__kind=Place.Kind.COUNT_DIFFERENCE)
        .order_by()
        .annotate(act=Coalesce("posting__corrects", "posting"))
        .values("lot", "act")
        .annotate(change=Sum("quantity"))
        .values_list("lot", "change")
    ):
        known = found.get(lot, CountDifference())
        found[lot] = CountDifference(known.lost + max(change, 0), known.found + max(-change, 0))
    return found
