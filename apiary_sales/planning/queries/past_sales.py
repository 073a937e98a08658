"""Jars sold in the same months of earlier years, by product and channel."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date

from django.db.models import Min, Q, QuerySet, Sum

from apiary_sales.imports.models import PastSale
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.planning.rules.demand import (
    History,
    PastPeriods,
    PastSales,
    Period,
    PeriodNotUsed,
    channel_of,
)

YEARS_BACK = 5

# A product, by its primary key, and a channel.
Key = tuple[int, str]


def history(*, on: date, months: int) -> History:
    """Return the jars ordered in the months that begin on `on`, in each of the last years.

    What lies before the first sale of the house is not known: a year of which a part lies before it
    is left out, and so is a year without any jar sold in those months, because the house was not
    selling. If no year is left, the part that is known of one or the months before `on` are used.
    The same holds for each product in each channel from its own first sale on. No day is counted in
    two periods.

    Pieces count on the day their order was placed; quotes and cancelled orders are left out. Sales
    that were brought in from a list count on their day, which is before the first own sale of their
    channel.
    """
    past = PastPeriods.before(on, months, YEARS_BACK)
    firsts = _first_sales(on)
    if not firsts:
        return History((), False, ())
    own, brought_in = _sold(past.periods), _brought_in(past.periods)
    sold = {period: _added(own[period], brought_in[period]) for period in past.periods}
    began = min(firsts.values())
    used = past.known_from(began, [period for period in past.periods if sold[period]])
    is_same_season = any(period in past.earlier for period in used)
    usable = used if is_same_season else ()
    return History(
        periods=_known(used, began),
        is_same_season=is_same_season,
        sales=tuple(
            _past_sales(key, first, past.known_from(first, usable), sold)
            for key, first in firsts.items()
        ),
        brought_in_pieces=sum(sum(brought_in[period].values()) for period in used),
        is_partial=_known(used, began) != used,
        not_used=tuple(
            PeriodNotUsed(period, began if period.first < began else None)
            for period in past.earlier
            if period.last >= began and period not in used
        ),
        newest=sold[used[0]] if used else {},
    )


def _past_sales(
    key: Key, first: date, periods: tuple[Period, ...], sold: Mapping[Period, Mapping[Key, int]]
) -> PastSales:
    known = _known(periods, first)
    pieces = tuple(sold[period].get(key, 0) for period in periods)
    return PastSales(*key, pieces, known, is_partial=known != periods)


def _known(periods: tuple[Period, ...], first: date) -> tuple[Period, ...]:
    """Return the part of each period that is known: from the first sale on."""
    return tuple(Period(max(period.first, first), period.last) for period in periods)


def _added(one: Mapping[Key, int], other: Mapping[Key, int]) -> dict[Key, int]:
    return {key: one.get(key, 0) + other.get(key, 0) for key in dict.fromkeys([*one, *other])}


def _first_sales(on: date) -> dict[Key, date]:
    """Return the day of the first sale before `on` of each product in each channel."""
    own = (
        _own_lines()
        .filter(order__placed_on__lt=on)
        .order_by()
        .values_list("product_id", "order__channel", "order__customer__tier")
        .annotate(first=Min("order__placed_on"))
    )
    brought_in = (
        _lines_brought_in()
        .filter(day__lt=on)
        .order_by()
        .values_list("product_id", "channel", "customer__tier")
        .annotate(first=Min("day"))
    )
    found: dict[Key, date] = {}
    for product_id, channel, tier, first in [*own, *brought_in]:
        if product_id is not None:
            key = product_id, str(channel_of(channel, tier))
            found[key] = min(first, found.get(key, first))
    return found


def _own_lines() -> QuerySet[OrderLine]:
    return OrderLine.objects.filter(kind=OrderLine.Kind.PACKED).exclude(
        order__status__in=[*Order.QUOTE_STATUSES, Order.Status.CANCELLED]
    )


def _lines_brought_in() -> QuerySet[PastSale]:
    return PastSale.objects.counting().filter(product__item__is_weighed=False)


def _brought_in(periods: Sequence[Period]) -> dict[Period, dict[Key, int]]:
    """Return the pieces that were brought in from lists, by product and channel, in each period."""
    sums = {
        f"in_{position}": Sum("quantity", filter=Q(day__gte=period.first, day__lte=period.last))
        for position, period in enumerate(periods)
    }
    rows = (
        _lines_brought_in()
        .filter(
            day__gte=min(period.first for period in periods),
            day__lte=max(period.last for period in periods),
        )
        .order_by()
        .values_list("product_id", "channel", "customer__tier")
        .annotate(**sums)
    )
    found: dict[Period, dict[Key, int]] = {p: defaultdict(int) for p in periods}
    for product_id, channel, tier, *in_periods in rows:
        for period, pieces in zip(periods, in_periods, strict=True):
            if pieces and product_id is not None:
                found[period][product_id, str(channel_of(channel, tier))] += pieces
    return {period: dict(pieces) for period, pieces in found.items()}


def _sold(periods: Sequence[Period]) -> dict[Period, dict[Key, int]]:
    """Return the pieces of each product and channel in each period, in one query."""
    first, last = min(p.first for p in periods), max(p.last for p in periods)
    rows = (
        _own_lines()
        .filter(order__placed_on__gte=first, order__placed_on__lte=last)
        .values_list(
            "order__placed_on",
            "order__channel",
            "order__customer__tier",
            "product_id",
            "quantity",
        )
    )
    found: dict[Period, dict[Key, int]] = {p: defaultdict(int) for p in periods}
    for placed_on, channel, tier, product_id, quantity in rows:
        for period in periods:
            if period.first <= placed_on <= period.last:
                found[period][product_id, str(channel_of(channel, tier))] += quantity
    return found
