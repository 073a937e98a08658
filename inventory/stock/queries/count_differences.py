"""What counts found missing of lots, and what they found beyond the books, never set off."""

from dataclasses import dataclass

from django.db.models import Q, Sum

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
    return {
        row["lot"]: CountDifference(row["lost"], -row["found"])
        for row in PostingLine.objects.filter(
            lot__in=family,
            place__kind=Place.Kind.COUNT_DIFFERENCE,
            posting__reverses=None,
            posting__reversed_by=None,
        )
        .order_by()
        .values("lot")
        .annotate(
            lost=Sum("quantity", filter=Q(quantity__gt=0), default=0),
            found=Sum("quantity", filter=Q(quantity__lt=0), default=0),
        )
    }
