"""Jars sold in the same months of earlier years, by product and channel."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, timedelta

from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.planning.rules.demand import (
    History,
    PastSales,
    Period,
    channel_of,
    months_later,
    period_from,
    years_before,
)

YEARS_BACK = 5

# Pieces of each product, by its primary key, and channel.
Sold = Mapping[tuple[int, str], int]


def history(*, on: date, months: int) -> History:
    """Return the jars ordered in the months that begin on `on`, in each of the last years.

    A year without any jar sold in those months is left out, because the house was not selling. If
    no year is left, the months before `on` are used. Pieces count on the day their order was
    placed; quotes and cancelled orders are left out.
    """
    coming = period_from(on, months)
    earlier = [
        Period(years_before(coming.first, years), years_before(coming.last, years))
        for years in range(1, YEARS_BACK + 1)
    ]
    just_past = Period(months_later(on, -months), on - timedelta(days=1))
    sold = _sold([*earlier, just_past])
    with_sales = [period for period in earlier if sold[period]]
    if with_sales:
        return _history(with_sales, sold, is_same_season=True)
    return _history([just_past] if sold[just_past] else [], sold, is_same_season=False)


def _history(
    periods: list[Period], sold: Mapping[Period, Sold], *, is_same_season: bool
) -> History:
    keys = dict.fromkeys(key for period in periods for key in sold[period])
    sales = [
        PastSales(
            product_id, channel, tuple(sold[p].get((product_id, channel), 0) for p in periods)
        )
        for product_id, channel in keys
    ]
    return History(tuple(periods), is_same_season, tuple(sales))


def _sold(periods: list[Period]) -> dict[Period, dict[tuple[int, str], int]]:
    """Return the pieces of each product and channel in each period, in one query."""
    first, last = min(p.first for p in periods), max(p.last for p in periods)
    rows = (
        OrderLine.objects.filter(
            kind=OrderLine.Kind.PACKED, order__placed_on__gte=first, order__placed_on__lte=last
        )
        .exclude(order__status__in=[*Order.QUOTE_STATUSES, Order.Status.CANCELLED])
        .values_list(
            "order__placed_on",
            "order__channel",
            "order__customer__tier",
            "product_id",
            "quantity",
        )
    )
    found: dict[Period, dict[tuple[int, str], int]] = {p: defaultdict(int) for p in periods}
    for placed_on, channel, tier, product_id, quantity in rows:
        for period in periods:
            if period.first <= placed_on <= period.last:
                found[period][product_id, str(channel_of(channel, tier))] += quantity
    return found
