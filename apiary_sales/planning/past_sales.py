"""Jars sold in the same months of earlier years, by size and channel."""

import calendar
from collections import defaultdict
from datetime import date, timedelta

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.planning.demand import History, PastSales, Period
from apiary_sales.pricing.models import ChannelCost

YEARS_BACK = 5


def history(*, on: date, months: int) -> History:
    """Return the jars ordered in the months that begin on `on`, in each of the last years.

    A year in which no jar at all was sold in those months is left out: the house was not selling.
    Without any, the months up to `on` stand in. What counts is the pieces ordered, on the day the
    order was placed; quotes and cancelled orders are left out.
    """
    coming = period_from(on, months)
    earlier = [
        Period(_years_before(coming.first, years), _years_before(coming.last, years))
        for years in range(1, YEARS_BACK + 1)
    ]
    just_past = Period(_months_later(on, -months), on - timedelta(days=1))
    sold = _sold([*earlier, just_past])
    with_sales = [period for period in earlier if sold[period]]
    if with_sales:
        return _history(with_sales, sold, is_same_season=True)
    return _history([just_past] if sold[just_past] else [], sold, is_same_season=False)


def period_from(first: date, months: int) -> Period:
    """Return the period of so many months that begins on `first`."""
    return Period(first, _months_later(first, months) - timedelta(days=1))


def channel_of(order_channel: str, tier: str | None) -> str:
    """Return the channel whose costs and prices apply to an order of a customer of this tier."""
    if order_channel == Order.Channel.STAND:
        return ChannelCost.Channel.STAND
    if tier == Customer.Tier.DISTRIBUTOR:
        return ChannelCost.Channel.DISTRIBUTOR
    if order_channel == Order.Channel.DELIVERY:
        return ChannelCost.Channel.DELIVERY
    return ChannelCost.Channel.SHOP


def _history(periods: list[Period], sold, *, is_same_season: bool) -> History:
    keys = dict.fromkeys(key for period in periods for key in sold[period])
    sales = [PastSales(*key, tuple(sold[period].get(key, 0) for period in periods)) for key in keys]
    return History(tuple(periods), is_same_season, tuple(sales))


def _sold(periods: list[Period]) -> dict[Period, dict[tuple[int, str], int]]:
    """Return the pieces of each size and channel in each period, in one query."""
    first, last = min(p.first for p in periods), max(p.last for p in periods)
    rows = (
        OrderLine.objects.filter(
            kind=OrderLine.Kind.PACKED, order__placed_on__gte=first, order__placed_on__lte=last
        )
        .exclude(order__status__in=[Order.Status.QUOTED, Order.Status.CANCELLED])
        .values_list(
            "order__placed_on",
            "order__channel",
            "order__customer__tier",
            "container_id",
            "quantity",
        )
    )
    found: dict[Period, dict[tuple[int, str], int]] = {p: defaultdict(int) for p in periods}
    for placed_on, channel, tier, container_id, quantity in rows:
        for period in periods:
            if period.first <= placed_on <= period.last:
                found[period][container_id, str(channel_of(channel, tier))] += quantity
    return found


def _months_later(day: date, months: int) -> date:
    years, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(years, month + 1, min(day.day, calendar.monthrange(years, month + 1)[1]))


def _years_before(day: date, years: int) -> date:
    return _months_later(day, -12 * years)
