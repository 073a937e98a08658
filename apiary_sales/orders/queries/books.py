"""Check the orders: recalculate them from their parts and report differences."""

from collections.abc import Iterator

from django.db.models import F, Q, Sum

from apiary_sales.orders.late_cost_models import LateCost, LateCosting
from apiary_sales.orders.models import (
    FulfilmentLine,
    GoodsReturn,
    Order,
    OrderLine,
    Reservation,
)
from apiary_sales.orders.rules.lines import LineWanted, is_reserved
from inventory.stock.models import Balance


def faults() -> Iterator[str]:
    """Yield one sentence for each way in which the stored orders contradict each other."""
    yield from _wrong_reservations()
    yield from _unpromised_lines()
    yield from _wrong_fulfilments()
    yield from _wrong_returns()
    yield from _wrong_late_costs()
    yield from _wrong_amounts()
    yield from _wrong_statuses()


def _wrong_reservations() -> Iterator[str]:
    sums = dict(Reservation.objects.order_by().values_list("balance").annotate(Sum("quantity")))
    for balance in (
        Balance.objects.filter(Q(reserved__gt=0) | Q(pk__in=sums))
        .select_related("item", "place")
        .order_by("id")
    ):
        promised = sums.get(balance.pk, 0)
        if promised != balance.reserved:
            yield (
                f"{balance.item} at {balance.place}: orders reserve {promised}, "
                f"the balance says {balance.reserved}."
            )


def _unpromised_lines() -> Iterator[str]:
    """What is still to fill is reserved, but for what gave way, and nothing else is."""
    sums = dict(Reservation.objects.order_by().values_list("line").annotate(Sum("quantity")))
    for line in (
        OrderLine.objects.filter(Q(order__status__in=Order.OPEN_STATUSES) | Q(pk__in=sums))
        .select_related("order", "drum")
        .order_by("id")
    ):
        is_open = line.order.status in Order.OPEN_STATUSES
        wanted = line.to_fill - line.gave_way if is_open and is_reserved(line) else 0
        if sums.get(line.pk, 0) != wanted:
            yield (
                f"Order {line.order}: {line.description} has {sums.get(line.pk, 0)} reserved, "
                f"{wanted} should be."
            )


def _wrong_fulfilments() -> Iterator[str]:
    handed_over = {
        line: (quantity, cents, again)
        for line, quantity, cents, again in FulfilmentLine.objects.not_taken_back()
        .order_by()
        .values_list("order_line")
        .annotate(
            standing=Sum("quantity") - Sum("sent_again"),
            cents=Sum("amount_cents"),
            again=Sum("sent_again"),
        )
    }
    for line in (
        OrderLine.objects.filter(Q(filled__gt=0) | Q(pk__in=handed_over))
        .select_related("order")
        .order_by("id")
    ):
        quantity, cents, again = handed_over.get(line.pk, (0, 0, 0))
        if quantity != line.filled:
            yield (
                f"Order {line.order}: {line.description} counts {line.filled} filled, "
                f"its fulfilments add up to {quantity}."
            )
        elif line.filled == line.quantity and not again and cents != line.amount_cents:
            yield (
                f"Order {line.order}: {line.description} comes to {line.amount_cents} cents, "
                f"its fulfilments to {cents}."
            )


def _wrong_returns() -> Iterator[str]:
    """What a line says came back is what was booked back."""
    booked = {
        line: (quantity, cents)
        for line, quantity, cents in GoodsReturn.objects.order_by()
        .values_list("fulfilment_line")
        .annotate(pieces=Sum("quantity"), cents=Sum("cost_cents", filter=Q(is_fit=True), default=0))
    }
    for line in (
        FulfilmentLine.objects.filter(
            Q(returned__gt=0) | ~Q(returned_cost_cents=0) | Q(pk__in=booked)
        )
        .select_related("order_line__order")
        .order_by("id")
    ):
        back = booked.get(line.pk, (0, 0))
        if back != (line.returned, line.returned_cost_cents):
            yield (
                f"Order {line.order_line.order}: {line.returned} of {line.order_line.description} "
                f"came back at a cost of {line.returned_cost_cents} cents, "
                f"the returns add up to {back[0]} and {back[1]} cents."
            )


def _wrong_late_costs() -> Iterator[str]:
    """Goods have the cost that a late costing gave them, unless it was undone."""
    standing = LateCost.objects.filter(costing__in=LateCosting.objects.standing())
    for late in standing.select_related("fulfilment_line__order_line__order").order_by("id"):
        goods = late.fulfilment_line
        if goods.cost_cents != late.cost_cents:
            yield (
                f"Order {goods.order_line.order}: {goods.order_line.description} was given a cost "
                f"of {late.cost_cents} cents late, and has {goods.cost_cents}."
            )


def _wrong_amounts() -> Iterator[str]:
    for line in OrderLine.objects.select_related("order").order_by("id").iterator():
        agreed = LineWanted(
            kind=line.kind,
            quantity=line.quantity,
            unit_price=line.unit_price,
            discount_cents=line.discount_cents,
        )
        if agreed.amount_cents + line.rounding_cents != line.amount_cents:
            yield (
                f"Order {line.order}: {line.description} comes to {line.amount_cents} cents, "
                f"quantity and price to {agreed.amount_cents}."
            )


def _wrong_statuses() -> Iterator[str]:
    for line in (
        OrderLine.objects.filter(filled__gt=0)
        .exclude(order__status__in=(Order.Status.PART_FILLED, Order.Status.FILLED))
        .select_related("order")
        .order_by("id")
    ):
        yield f"Order {line.order} is {line.order.status}, yet {line.description} was filled."
    for order in (
        Order.objects.filter(status=Order.Status.FILLED, lines__filled__lt=F("lines__quantity"))
        .exclude(events__kind="cancelled")
        .distinct()
        .order_by("id")
    ):
        yield f"Order {order} is filled, yet something is left to fill."
