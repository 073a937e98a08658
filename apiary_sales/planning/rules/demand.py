"""What is likely to be sold, from what was sold in the same months of earlier years."""

import statistics
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from apiary_sales.pricing.models import ChannelCost
from inventory.shared.days import months_later, years_before


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

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1

    def since(self, day: date) -> "Period | None":
        """Return what is left of it from `day` on; None where that is nothing."""
        return Period(max(self.first, day), self.last) if day <= self.last else None


@dataclass(frozen=True)
class PastSales:
    """Pieces of one product sold in one channel in each period, the newest first.

    `periods` are the ones that the pieces are from. What lies before the first sale of the product
    in the channel is not known, so it is in no period; `is_partial` says that the only period is
    what is left of one. Without any period nothing is known, and nothing is expected.
    """

    product_id: int
    channel: str
    pieces: tuple[int, ...]
    periods: tuple[Period, ...] = ()
    is_partial: bool = False

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
class PeriodNotUsed:
    """A period that no average counts: part of it is before the first sale, or nothing was sold.

    `known_from` is the day of the first sale, or None where nothing was sold.
    """

    period: Period
    known_from: date | None


@dataclass(frozen=True)
class History:
    """Sales by product and channel over comparable periods, the newest first.

    `is_same_season` is true for the same periods of earlier years. It is false for the most recent
    months, which are used while there are no earlier years. `is_partial` says that the only period
    is what is left of one after the first sale of the house. So many of the pieces are from a list
    that was brought in. `newest` are the pieces sold in the newest period, by product and channel.
    """

    periods: tuple[Period, ...]
    is_same_season: bool
    sales: tuple[PastSales, ...]
    brought_in_pieces: int = 0
    is_partial: bool = False
    not_used: tuple[PeriodNotUsed, ...] = ()
    newest: Mapping[tuple[int, str], int] = field(default_factory=dict)

    def of(self, product_id: int, channel: str) -> PastSales:
        """Return the sales of one product in one channel; without any period if never sold."""
        for row in self.sales:
            if (row.product_id, row.channel) == (product_id, channel):
                return row
        return PastSales(product_id, channel, ())


@dataclass(frozen=True)
class PastPeriods:
    """The days that a plan may learn from: the same of earlier years, and those just past."""

    earlier: tuple[Period, ...]
    just_past: Period

    @classmethod
    def before(cls, on: date, months: int, years: int) -> "PastPeriods":
        return cls(
            tuple(period_from(years_before(on, ago), months) for ago in range(1, years + 1)),
            Period(months_later(on, -months), on - timedelta(days=1)),
        )

    @property
    def periods(self) -> tuple[Period, ...]:
        """Every period once: over twelve months, those just past are the last year."""
        return tuple(dict.fromkeys([*self.earlier, self.just_past]))

    def known_from(self, first: date, usable: Collection[Period]) -> tuple[Period, ...]:
        """Return the periods to learn from where the first sale was on `first`, not yet cut.

        Those that are known whole come first, as far as they are `usable`. Without one, the period
        with the first sale is used if half of it at least is known, or else the months just past.
        """
        known = [period for period in self.earlier if period in usable]
        if whole := tuple(period for period in known if period.first >= first):
            return whole
        for period in (*known, self.just_past):
            left = period.since(first)
            if left and (2 * left.days >= period.days or period == self.just_past):
                return (period,)
        return ()


def period_from(first: date, months: int) -> Period:
    """Return the period of so many months that begins on `first`."""
    return Period(first, months_later(first, months) - timedelta(days=1))


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
