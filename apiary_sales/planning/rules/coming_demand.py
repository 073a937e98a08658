"""What is likely to sell in the coming months, by the months that were sold in before."""

import calendar
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from apiary_sales.planning.rules.demand import Period
from apiary_sales.planning.rules.estimates import Estimate
from inventory.shared.days import months_later

# So many of the last months are averaged where the same months of earlier years are not known.
RECENT_MONTHS = 12
# From so much up or down since a year ago it is said that the average leaves that out.
LEVEL_TOLD = Fraction(1, 5)


@dataclass(frozen=True)
class ComingDemand:
    """Pieces that are likely to sell in a period; None while no month is known.

    `recent_months` is how many of the last months were averaged in place of those of earlier years
    that are not known; zero where each coming month is known from an earlier year. `level` is what
    the product sells of late over what it sold a year ago, in all channels; None if not known. The
    pieces do not reckon with it.
    """

    pieces: int | None
    spread: int | None = None
    years: int = 0
    recent_months: int = 0
    level: Fraction | None = None

    @property
    def level_left_out_percent(self) -> int | None:
        """By how many percent sales went up, or down below zero, where that is much and left out.

        What the last months were averaged for has this year in it.
        """
        if self.pieces is None or self.recent_months or self.level is None:
            return None
        change = self.level - 1
        return round(change * 100) if abs(change) >= LEVEL_TOLD else None


def coming_demand(
    period: Period, estimate_of: Callable[[int], Estimate], recent: Sequence[int]
) -> ComingDemand:
    """Add up what the months of a period are likely to bring; of a month begun, its days only.

    `estimate_of` gives the estimate of a month of the year, and `recent` what the last months that
    are known brought.
    """
    parts = [(estimate_of(month.month), share) for month, share in shares_of_months(period)]
    if all(estimate.mean is not None for estimate, _share in parts):
        mean = sum(
            ((estimate.mean or Decimal(0)) * _decimal(share) for estimate, share in parts),
            Decimal(0),
        )
        # Months differ from their averages each for itself (common practice).
        squares = sum((_square(estimate, _decimal(share)) for estimate, share in parts), Decimal(0))
        return ComingDemand(
            _whole(mean),
            _whole(squares.sqrt()),
            years=min(estimate.years for estimate, _share in parts),
        )
    if not recent:
        return ComingDemand(None)
    months = sum((share for _estimate, share in parts), Fraction(0))
    mean = Decimal(sum(recent)) / len(recent) * _decimal(months)
    return ComingDemand(_whole(mean), recent_months=len(recent))


def shares_of_months(period: Period) -> Iterator[tuple[date, Fraction]]:
    """Yield the months of a period by their first days, and how much of each is in the period."""
    month = period.first.replace(day=1)
    while month <= period.last:
        length = calendar.monthrange(month.year, month.month)[1]
        first = max(month, period.first)
        last = min(month.replace(day=length), period.last)
        yield month, Fraction((last - first).days + 1, length)
        month = months_later(month, 1)


def _decimal(share: Fraction) -> Decimal:
    return Decimal(share.numerator) / share.denominator


def _square(estimate: Estimate, share: Decimal) -> Decimal:
    """Return the square of the spread of a share of a month.

    Never less than that of counts that come by chance (Poisson), as in `Estimate.least_spread`:
    two years that happen to be alike do not make the next one certain.
    """
    mean, spread = estimate.mean or Decimal(0), estimate.spread or Decimal(0)
    return max((spread * share) ** 2, mean * share)


def _whole(pieces: Decimal) -> int:
    return int(pieces.quantize(Decimal(1), ROUND_HALF_UP))
