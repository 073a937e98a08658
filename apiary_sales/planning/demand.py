"""What is likely to be sold, from what was sold in the same months of earlier years."""

import statistics
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class Outlook(TextChoices):
    """How much of the past the plan counts on: the average, or that less or more its spread."""

    CAREFUL = "careful", _("careful: average less the spread")
    USUAL = "usual", _("the average")
    HOPEFUL = "hopeful", _("hopeful: average and the spread")


@dataclass(frozen=True)
class Period:
    """The days in which the plan's jars are to be sold, or the same days of an earlier year."""

    first: date
    last: date


@dataclass(frozen=True)
class PastSales:
    """Pieces of one size sold in one channel in each period, the newest first."""

    container_id: int
    channel: str
    pieces: tuple[int, ...]

    @property
    def average(self) -> int:
        """The mean of the periods, half a piece up."""
        return _whole(Decimal(sum(self.pieces)) / len(self.pieces)) if self.pieces else 0

    @property
    def spread(self) -> int | None:
        """The sample standard deviation in whole pieces; None from fewer than two periods."""
        if len(self.pieces) < 2:
            return None
        return _whole(Decimal(statistics.stdev(self.pieces)))

    @property
    def low(self) -> int:
        return min(self.pieces, default=0)

    @property
    def high(self) -> int:
        return max(self.pieces, default=0)

    def expected(self, outlook: str) -> int:
        """Return the pieces to count on; without a spread every outlook is the average."""
        spread = self.spread or 0
        match Outlook(outlook):
            case Outlook.CAREFUL:
                return max(0, self.average - spread)
            case Outlook.HOPEFUL:
                return self.average + spread
        return self.average


@dataclass(frozen=True)
class History:
    """Sales by size and channel over comparable periods, the newest first.

    `is_same_season` tells periods of earlier years from the months just past, which stand in while
    there are no earlier years.
    """

    periods: tuple[Period, ...]
    is_same_season: bool
    sales: tuple[PastSales, ...]

    def of(self, container_id: int, channel: str) -> PastSales:
        """Return the sales of one size in one channel; nothing in every period where none were."""
        for row in self.sales:
            if (row.container_id, row.channel) == (container_id, channel):
                return row
        return PastSales(container_id, channel, (0,) * len(self.periods))


def _whole(pieces: Decimal) -> int:
    return int(pieces.quantize(Decimal(1), ROUND_HALF_UP))
