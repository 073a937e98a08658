"""Check the orders: recalculate them from their parts and report differences."""

from collections.abc import Callable, Iterator

from django.db.models import Case, F, FloatField, Q, Sum, Value, When
from django.db.models.functions import Cast, Coalesce

from apiary_sales.orders.late_cost_models import LateCost, LateCosting
from apiary_sales.orders.models import (
    Fulfilment,
    FulfilmentLine,
    GoodsReturn,
    Order,
    OrderLine,
    Reservation,
)
from apiary_sales.orders.rules.lines import OF_PRODUCTS, LineWanted
from inventory.shared.proofs import unequal
from inventory.shared.weights import unit_grams
from inventory.stock.models import Balance, Place

# The lines that `is_reserved` of the rules names.
IS_RESERVED = Q(kind__in=OF_PRODUCTS) | Q(
    kind=OrderLine.Kind.HONEY, is_drawn=False, drum__kind=Place.Kind.DRUM
)
# Up to so many cents a fraction of the database is off by less than a ten-thousandth of a cent.
EXACT_CENTS_MAX = 1e10


def faults() -> Iterator[str]:
    """Yield one sentence for each way in which the stored orders contradict each other."""
    for proof in PROOFS:
        yield from proof()


def _wrong_reservations() -> Iterator[str]:
    promised = Reservation.objects.values_list("balance", "quantity")
    kept = Balance.objects.exclude(reserved=0).values_list("id", "reserved")
    for key, quantity, reserved in unequal([promised], [kept]):
        balance = Balance.objects.select_related("item", "place").get(pk=key)
        yield (
            f"{balance.item} at {balance.place}: orders reserve {quantity}, "
            f"the balance says {reserved}."
        )


def _unpromised_lines() -> Iterator[str]:
    """What is still to fill is reserved, but for what gave way, and nothing else is."""
    promised = Reservation.objects.values_list("line", "quantity")
    wanted = OrderLine.objects.filter(
        IS_RESERVED, order__status__in=Order.OPEN_STATUSES
    ).values_list("id", F("quantity") - F("filled") - F("gave_way"))
    for key, reserved, should_be in unequal([promised], [wanted]):
        line = _line(key)
        yield (
            f"Order {line.order}: {line.description} has {reserved} reserved, "
            f"{should_be} should be."
        )


def _line(key: int) -> OrderLine:
    return OrderLine.objects.select_related("order").get(pk=key)


def _wrong_fulfilments() -> Iterator[str]:
    """What is filled of a line, and what it comes to, is what its fulfilments add up to."""
    handed_over = FulfilmentLine.objects.not_taken_back()
    standing = handed_over.values_list("order_line", F("quantity") - F("sent_again"))
    filled = OrderLine.objects.exclude(filled=0).values_list("id", "filled")
    for key, quantity, said in unequal([standing], [filled]):
        line = _line(key)
        yield (
            f"Order {line.order}: {line.description} counts {said} filled, "
            f"its fulfilments add up to {quantity}."
        )
    whole = Q(order_line__filled=F("order_line__quantity"))
    for row in (
        handed_over.filter(whole)
        .order_by("order_line")
        .values("order_line", "order_line__amount_cents", "order_line__filled")
        .annotate(
            cents=Sum("amount_cents"),
            standing=Sum("quantity") - Sum("sent_again"),
            again=Sum("sent_again"),
        )
        .filter(again=0, standing=F("order_line__filled"))
        .exclude(cents=F("order_line__amount_cents"))
        .iterator()
    ):
        line = _line(row["order_line"])
        yield (
            f"Order {line.order}: {line.description} comes to {line.amount_cents} cents, "
            f"its fulfilments to {row['cents']}."
        )


def _wrong_returns() -> Iterator[str]:
    """What a line says came back is what was booked back."""
    cost = Case(When(is_fit=True, then=Coalesce("cost_cents", 0)), default=0)
    booked = GoodsReturn.objects.values_list("fulfilment_line", "quantity", cost)
    said = FulfilmentLine.objects.filter(Q(returned__gt=0) | ~Q(returned_cost_cents=0)).values_list(
        "id", "returned", "returned_cost_cents"
    )
    for key, pieces, cents, returned, returned_cents in unequal([booked], [said], figures=2):
        line = FulfilmentLine.objects.select_related("order_line__order").get(pk=key)
        yield (
            f"Order {line.order_line.order}: {returned} of {line.order_line.description} "
            f"came back at a cost of {returned_cents} cents, "
            f"the returns add up to {pieces} and {cents} cents."
        )


def _wrong_late_costs() -> Iterator[str]:
    """Goods have the cost that a late costing gave them, unless it was undone."""
    standing = LateCost.objects.filter(costing__in=LateCosting.objects.standing())
    has_another = ~Q(fulfilment_line__cost_cents=F("cost_cents"))
    has_none = Q(fulfilment_line__cost_cents__isnull=True)
    for late in (
        standing.filter(has_another | has_none)
        .select_related("fulfilment_line__order_line__order")
        .order_by("id")
        .iterator()
    ):
        goods = late.fulfilment_line
        yield (
            f"Order {goods.order_line.order}: {goods.order_line.description} was given a cost "
            f"of {late.cost_cents} cents late, and has {goods.cost_cents}."
        )


def _wrong_amounts() -> Iterator[str]:
    """A line comes to its quantity at its price, half a cent rounding up.

    The database works it out with a fraction. Prices have four decimals, so that of pieces and
    services it shows what is right; of weights, whatever is near half a cent or wrong is worked out
    exactly, and so is what is too large for a fraction.
    """
    in_cents = Case(
        When(kind__in=OrderLine.BY_WEIGHT, then=Value(100 / float(unit_grams()))),
        # Hundredths of the unit.
        When(kind=OrderLine.Kind.SERVICE, then=Value(1.0)),
        default=Value(100.0),
    )
    price = Cast("unit_price", FloatField())
    said = F("amount_cents") + F("discount_cents") - F("rounding_cents")
    about = Cast("quantity", FloatField()) * price * in_cents
    off = Cast(said, FloatField()) - about
    by_weight = Q(kind__in=OrderLine.BY_WEIGHT)
    is_doubtful = by_weight & (Q(off__lt=-0.499) | Q(off__gt=0.499))
    is_wrong = ~by_weight & (Q(off__lt=-0.49995) | Q(off__gt=0.50005))
    for line in (
        OrderLine.objects.annotate(about=about, off=off)
        .filter(is_doubtful | is_wrong | Q(about__gt=EXACT_CENTS_MAX))
        .select_related("order")
        .order_by("id")
        .iterator()
    ):
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
        .iterator()
    ):
        yield f"Order {line.order} is {line.order.status}, yet {line.description} was filled."
    for order in (
        Order.objects.filter(status=Order.Status.FILLED, lines__filled__lt=F("lines__quantity"))
        .exclude(events__kind="cancelled")
        .distinct()
        .order_by("id")
        .iterator()
    ):
        yield f"Order {order} is filled, yet something is left to fill."


def _closed_drums() -> Iterator[str]:
    """A hand-over that is noted as done with its drums is so."""
    closed = Fulfilment.objects.filter(drums_are_open=False).with_drums()
    done = closed.done_with_drums().values("pk")
    for fulfilment in closed.exclude(pk__in=done).order_by("id").iterator():
        yield f"The drums of {fulfilment} are noted as settled, which they are not."


PROOFS: tuple[Callable[[], Iterator[str]], ...] = (
    _wrong_reservations,
    _unpromised_lines,
    _wrong_fulfilments,
    _wrong_returns,
    _wrong_late_costs,
    _wrong_amounts,
    _wrong_statuses,
    _closed_drums,
)
