"""What stock is worth, and what went out cost: first in, first out, and weighted average.

Pure arithmetic on whole quantities (grams or pieces) and whole cents. Each cost is the rounded
share, half a cent to the even cent, of the cents that are still there, so what rounding takes from
one issue stays in the stock for the next: issued and left always add up to received, to the cent,
and stock that runs out leaves nothing behind.
"""

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from inventory.money import share_cents


class NotEnoughToIssue(ValueError):
    """More was to go out than had come in; carries `wanted` and `there`."""

    def __init__(self, wanted: int, there: int) -> None:
        super().__init__(f"Not enough stock: {wanted} wanted, {there} there.")
        self.wanted = wanted
        self.there = there


@dataclass(frozen=True)
class Receipt:
    """So much came in, and all of it cost `cost_cents`."""

    quantity: int
    cost_cents: int

    def __post_init__(self) -> None:
        _check_whole("quantity", self.quantity, least=1)
        _check_whole("cost in cents", self.cost_cents, least=0)


@dataclass(frozen=True)
class Issue:
    """So much went out."""

    quantity: int

    def __post_init__(self) -> None:
        _check_whole("quantity", self.quantity, least=1)


Movement = Receipt | Issue


@dataclass(frozen=True)
class Valuation:
    """What each issue cost, in their order, and what is left."""

    issue_costs_cents: tuple[int, ...]
    left_quantity: int
    left_cents: int

    @property
    def issued_cents(self) -> int:
        return sum(self.issue_costs_cents)


def first_in_first_out(movements: Iterable[Movement]) -> Valuation:
    """Value movements in their order, taking out the oldest first.

    Perpetual and periodic counting give the same total. Raises NotEnoughToIssue where an issue asks
    for more than is there at that moment.

    >>> first_in_first_out([Receipt(10, 1000), Receipt(10, 1200), Issue(15)])
    Valuation(issue_costs_cents=(1600,), left_quantity=5, left_cents=600)
    """
    layers: deque[tuple[int, int]] = deque()

    def receive(quantity: int, cents: int) -> None:
        layers.append((quantity, cents))

    def issue(wanted: int) -> int:
        cost = 0
        while wanted:
            quantity, cents = layers.popleft()
            taken = min(wanted, quantity)
            share = share_cents(cents, taken, quantity)
            if taken < quantity:
                layers.appendleft((quantity - taken, cents - share))
            cost += share
            wanted -= taken
        return cost

    return _run(movements, receive, issue)


def moving_average(movements: Iterable[Movement]) -> Valuation:
    """Value movements in their order, each issue at the average of what is there at that moment.

    Raises NotEnoughToIssue as `first_in_first_out`.

    >>> moving_average([Receipt(10, 1000), Receipt(10, 1200), Issue(15)])
    Valuation(issue_costs_cents=(1650,), left_quantity=5, left_cents=550)
    """
    there, there_cents = 0, 0

    def receive(quantity: int, cents: int) -> None:
        nonlocal there, there_cents
        there += quantity
        there_cents += cents

    def issue(wanted: int) -> int:
        nonlocal there, there_cents
        cost = share_cents(there_cents, wanted, there)
        there -= wanted
        there_cents -= cost
        return cost

    return _run(movements, receive, issue)


def periodic_average(movements: Iterable[Movement]) -> Valuation:
    """Value the issues of a period at the one average of all that was there in it.

    Opening stock is the first receipt. The order matters only for what can go out: raises
    NotEnoughToIssue where the period's issues come to more than its receipts.

    >>> periodic_average([Receipt(10, 1000), Issue(5), Receipt(10, 1200), Issue(10)])
    Valuation(issue_costs_cents=(550, 1100), left_quantity=5, left_cents=550)
    """
    movements = list(movements)
    receipts_first = sorted(movements, key=lambda movement: isinstance(movement, Issue))
    return moving_average(receipts_first)


def _run(
    movements: Iterable[Movement],
    receive: Callable[[int, int], None],
    issue: Callable[[int], int],
) -> Valuation:
    there, received_cents, costs = 0, 0, []
    for movement in movements:
        if isinstance(movement, Receipt):
            there += movement.quantity
            received_cents += movement.cost_cents
            receive(movement.quantity, movement.cost_cents)
        else:
            if movement.quantity > there:
                raise NotEnoughToIssue(movement.quantity, there)
            there -= movement.quantity
            costs.append(issue(movement.quantity))
    return Valuation(tuple(costs), there, received_cents - sum(costs))


def _check_whole(what: str, value: int, *, least: int) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or value < least:
        raise ValueError(f"The {what} must be a whole number, {least} or more, not {value!r}.")
