"""What is likely to be sold, from what was sold in the same months of earlier years."""

import calendar
import statistics
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from apiary_sales.pricing.models import ChannelCost


class Outlook(TextChoices):
    """How much of the past the plan counts on: the average, or that less or more its spread."""

    CAREFUL = "careful", _("careful: the average minus the usual variation")
    USUAL = "usual", _("the average")
    HOPEFUL = "hopeful", _("hopeful: the average plus the usual variation")


@dataclass(frozen=True)
class Period:
    """The days in which the plan's jars are to be sold, or the same days of an earlier year."""

    first: date
    last: date


@dataclass(frozen=True)
class PastSales:
    """Pieces of one product sold in one channel in each period, the newest first."""

    product_id: int
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
    """Sales by product and channel over comparable periods, the newest first.

    `is_same_season` is true for the same periods of earlier years. It is false for the most recent
    months, which are used while there are no earlier years. So many of the pieces are from a list
    that was brought in.
    """

    periods: tuple[Period, ...]
    is_same_season: bool
    sales: tuple[PastSales, ...]
    brought_in_pieces: int = 0

    def of(self, product_id: int, channel: str) -> PastSales:
        """Return the sales of one product in one channel; zero in every period without any."""
        for row in self.sales:
            if (row.product_id, row.channel) == (product_id, channel):
                return row
        return PastSales(product_id, channel, (0,) * len(self.periods))


def period_from(first: date, months: int) -> Period:
    """Return the period of so many months that begins on `first`."""
    return Period(first, months_later(first, months) - timedelta(days=1))


def months_later(day: date, months: int) -> date:
    """Return the same day of the month so many months later, or the last one that month has."""
    years, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(years, month + 1, min(day.day, calendar.monthrange(years, month + 1)[1]))


def years_before(day: date, years: int) -> date:
    return months_later(day, -12 * years)


def channel_of(order_channel: str, tier: str | None) -> str:
    """Return the channel whose costs and prices apply to an order of a customer of this tier."""
    if order_channel == Order.Channel.STAND:
        return ChannelCost.Channel.STAND
    if tier == Customer.Tier.DISTRIBUTOR:
        return ChannelCost.Channel.DISTRIBUTOR
    if order_channel == Order.Channel.DELIVERY:
        return ChannelCost.Channel.DELIVERY
    return ChannelCost.Channel.SHOP


def _whole(pieces: Decimal) -> int:
    return int(pieces.quantize(Decimal(1), ROUND_HALF_UP))
