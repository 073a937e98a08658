"""Prices that come into force soon, so that labels and the stand can be made ready."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta

from apiary_sales.pricing.models import BulkPrice, PiecePrice, WeightPrice

SOON = timedelta(days=7)


@dataclass(frozen=True)
class PricesToCome:
    """How many prices begin within a week, and the first day on which some do."""

    first: date
    count: int


def soon(on: date) -> PricesToCome | None:
    """Return the prices of pieces, by weight and in drums that begin within a week, in one query.

    None where none does.
    """
    span = {"valid_from__gt": on, "valid_from__lte": on + SOON}
    days = Counter(
        PiecePrice.objects.filter(**span)
        .order_by()
        .values_list("valid_from", flat=True)
        .union(
            *(
                model.objects.filter(**span).order_by().values_list("valid_from", flat=True)
                for model in (WeightPrice, BulkPrice)
            ),
            all=True,
        )
    )
    return PricesToCome(min(days), days.total()) if days else None
