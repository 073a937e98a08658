"""What was sold month by month, by product and channel, and what a month is likely to bring."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Min, OuterRef, Subquery, Sum
from django.db.models.functions import Coalesce, Greatest

from apiary_sales.imports.models import PastSale
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine
from apiary_sales.planning.rules.demand import channel_of
from apiary_sales.planning.rules.estimates import Estimate
from apiary_sales.pricing.models import ChannelCost
from inventory.shared.days import months_between, months_later, years_before
from inventory.shared.month_of import MonthOf

YEARS_BACK = 5
# A month that began without sales still counts where the first one came by this day of it.
FIRST_DAY_BY = 7

# The primary key of a product, or None for bulk honey, and the channel.
Key = tuple[int | None, str]
# Month, day of the first sale in it, channel, tier of the customer, product, and how much.
Row = tuple[date, date, str, str | None, int | None, int]


@dataclass(frozen=True)
class MonthlySales:
    """Pieces ordered by product and channel in each month; bulk honey in grams under None.

    A month is given by its first day. A month without a row in `pieces` brought none where it is
    known, and is unknown where it is not: before the first sale of that product or channel, and
    in the month that is not over on `on`.
    """

    on: date
    years: int
    pieces: Mapping[Key, Mapping[date, int]]
    # The month of the first sale of all; None while there was none.
    first_month: date | None
    # The first month that is known in full, by product or channel.
    of_product: Mapping[int | None, date]
    of_channel: Mapping[str, date]

    @property
    def this_month(self) -> date:
        return self.on.replace(day=1)

    def known_from(self, product_id: int | None, channel: str) -> date | None:
        """Return the first month of which it is known how much of a product a channel took."""
        product, way = self.of_product.get(product_id), self.of_channel.get(channel)
        return max(product, way) if product and way else None

    def known_months(self, product_id: int | None, channel: str) -> list[date]:
        """Return the months that are known in full, at most `years` of them back, oldest first."""
        first = self.known_from(product_id, channel)
        if first is None:
            return []
        oldest = max(first, years_before(self.this_month, self.years))
        return months_between(oldest, months_later(self.this_month, -1))

    def in_month(self, product_id: int | None, channel: str, month: date) -> int | None:
        """Return what was sold in a month; None where that is not known."""
        first = self.known_from(product_id, channel)
        if first is None or not first <= month < self.this_month:
            return None
        return self.pieces.get((product_id, channel), {}).get(month, 0)

    def expected(self, product_id: int | None, channel: str, month: int) -> Estimate:
        """Return what a month of the year (1 to 12) is likely to bring, from those of past years.

        Months that are not known in full are left out, so `years` says how many there are.
        """
        sold = self.pieces.get((product_id, channel), {})
        return Estimate.of(
            [
                sold.get(known, 0)
                for known in self.known_months(product_id, channel)
                if known.month == month
            ]
        )


def monthly(on: date, *, years: int = YEARS_BACK) -> MonthlySales:
    """Return what was sold in each month up to `on`, in two questions to the database.

    Own orders count on the day they were placed, less what came back and was not sent again;
    quotes and cancelled orders are left out. Sales that were brought in from a list count on their
    day. Goods sold by weight and services are left out. `years` is how far back averages go.
    """
    pieces: dict[Key, dict[date, int]] = defaultdict(lambda: defaultdict(int))
    products: dict[int | None, date] = {}
    channels: dict[str, date] = {}
    for rows in (_own(on), _brought_in(on)):
        for month, first, order_channel, tier, product_id, quantity in rows:
            channel = _channel(order_channel, tier, product_id)
            pieces[product_id, channel][month] += quantity
            products[product_id] = min(products.get(product_id, first), first)
            channels[channel] = min(channels.get(channel, first), first)
    return MonthlySales(
        on=on,
        years=years,
        pieces={key: dict(by_month) for key, by_month in pieces.items()},
        first_month=min(products.values()).replace(day=1) if products else None,
        of_product={key: _first_full(first) for key, first in products.items()},
        of_channel={key: _first_full(first) for key, first in channels.items()},
    )


def _own(on: date) -> Iterable[Row]:
    """Return month, first day, channel, tier, product and quantity of what was ordered."""
    came_back = (
        FulfilmentLine.objects.not_taken_back()
        .filter(order_line=OuterRef("pk"))
        .order_by()
        .values("order_line")
        .annotate(gone=Sum(Greatest(F("returned") - F("sent_again"), 0)))
        .values("gone")
    )
    return (
        OrderLine.objects.filter(
            kind__in=[OrderLine.Kind.PACKED, OrderLine.Kind.HONEY], order__placed_on__lte=on
        )
        .exclude(order__status__in=[*Order.QUOTE_STATUSES, Order.Status.CANCELLED])
        .order_by()
        .annotate(
            month=MonthOf("order__placed_on"),
            kept=F("quantity") - Coalesce(Subquery(came_back), 0),
        )
        .values("month", "order__channel", "order__customer__tier", "product_id")
        .annotate(first=Min("order__placed_on"), sold=Sum("kept"))
        .values_list(
            "month", "first", "order__channel", "order__customer__tier", "product_id", "sold"
        )
    )


def _brought_in(on: date) -> Iterable[Row]:
    """Return the same of the past sales that were brought in from lists."""
    return (
        PastSale.objects.counting()
        .filter(day__lte=on)
        .exclude(product__item__is_weighed=True)
        .order_by()
        .annotate(month=MonthOf("day"))
        .values("month", "channel", "customer__tier", "product_id")
        .annotate(first=Min("day"), sold=Sum("quantity"))
        .values_list("month", "first", "channel", "customer__tier", "product_id", "sold")
    )


def _channel(order_channel: str, tier: str | None, product_id: int | None) -> str:
    if product_id is None and order_channel == Order.Channel.BULK:
        return ChannelCost.Channel.BULK
    return str(channel_of(order_channel, tier))


def _first_full(first_day: date) -> date:
    """Return the first month that is known in full, when the first sale of all was on this day."""
    month = first_day.replace(day=1)
    return month if first_day.day <= FIRST_DAY_BY else months_later(month, 1)
