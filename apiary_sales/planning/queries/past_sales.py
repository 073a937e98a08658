"""Jars sold in the same months of earlier years, by product and channel."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, timedelta

from django.db.models import Q, Sum

from apiary_sales.imports.models import PastSale
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
    placed; quotes and cancelled orders are left out. Sales that were brought in from a list count
    on their day, which is before the first own sale of their channel.
    """
    coming = period_from(on, months)
    earlier = [
        Period(years_before(coming.first, years), years_before(coming.last, years))
        for years in range(1, YEARS_BACK + 1)
    ]
    just_past = Period(months_later(on, -months), on - timedelta(days=1))
    sold = _sold([*earlier, just_past])
    brought_in = _brought_in([*earlier, just_past])
    for period, pieces_by_key in brought_in.items():
        for key, pieces in pieces_by_key.items():
            sold[period][key] += pieces
    with_sales = [period for period in earlier if sold[period]]
    if with_sales:
        return _history(with_sales, sold, brought_in, is_same_season=True)
    recent = [just_past] if sold[just_past] else []
    return _history(recent, sold, brought_in, is_same_season=False)


def _history(
    periods: list[Period],
    sold: Mapping[Period, Sold],
    brought_in: Mapping[Period, Sold],
    *,
    is_same_season: bool,
) -> History:
    keys = dict.fromkeys(key for period in periods for key in sold[period])
    sales = [
        PastSales(
            product_id, channel, tuple(sold[p].get((product_id, channel), 0) for p in periods)
        )
        for product_id, channel in keys
    ]
    pieces_brought_in = sum(sum(brought_in[period].values()) for period in periods)
    return History(tuple(periods), is_same_season, tuple(sales), pieces_brought_in)


def _brought_in(periods: list[Period]) -> dict[Period, Sold]:
    """Return the pieces that were brought in from lists, by product and channel, in each period."""
    sums = {
        f"in_{position}": Sum("quantity", filter=Q(day__gte=period.first, day__lte=period.last))
        for position, period in enumerate(periods)
    }
    rows = (
        PastSale.objects.counting()
        .filter(
            product__item__is_weighed=False,
            day__gte=min(period.first for period in periods),
            day__lte=max(period.last for period in periods),
        )
        .order_by()
        .values_list("product_id", "channel", "customer__tier")
        .annotate(**sums)
    )
    found: dict[Period, dict[tuple[int, str], int]] = {p: defaultdict(int) for p in periods}
    for product_id, channel, tier, *in_periods in rows:
        for period, pieces in zip(periods, in_periods, strict=True):
            if pieces and product_id is not None:
                found[period][product_id, str(channel_of(channel, tier))] += pieces
    return {period: dict(pieces) for period, pieces in found.items()}


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
