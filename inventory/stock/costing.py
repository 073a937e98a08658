"""What stock is worth, and what went out cost: first in, first out, and weighted average.

Pure arithmetic on whole quantities (grams or pieces) and whole cents. Stock of one unit cost is a
layer. What has been taken from a layer so far is worth its share of the layer's cents, rounded half
to even, and an issue costs the difference to the share before it. So an issue is at most one cent
off for each layer it uses, and rounding errors do not add up. Issued and remaining cents always
equal received cents, and no cent remains when the stock is used up.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from copy import copy
from dataclasses import asdict, dataclass
from fractions import Fraction
from itertools import groupby
from operator import itemgetter

from inventory.shared.money import share_cents


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


@dataclass
class _Layer:
    """Stock of one unit cost, of which some has been taken."""

    quantity: int
    cents: int
    taken: int = 0

    @property
    def left(self) -> int:
        return self.quantity - self.taken

    @property
    def left_cents(self) -> int:
        return self.cents - share_cents(self.cents, self.taken, self.quantity)

    def take(self, wanted: int) -> int:
        """Take out `wanted` and return the cents that go with it."""
        before = self.left_cents
        self.taken += wanted
        return before - self.left_cents


def first_in_first_out(movements: Iterable[Movement]) -> Valuation:
    """Value movements in their order, taking out the oldest first.

    Perpetual and periodic counting give the same total. Raises NotEnoughToIssue where an issue asks
    for more than is there at that moment.

    >>> first_in_first_out([Receipt(10, 1000), Receipt(10, 1200), Issue(15)])
    Valuation(issue_costs_cents=(1600,), left_quantity=5, left_cents=600)
    """
    return _value(movements, lambda layers, receipt: layers.append(receipt))


def moving_average(movements: Iterable[Movement]) -> Valuation:
    """Value movements in their order, each issue at the average of what is there at that moment.

    Raises NotEnoughToIssue as `first_in_first_out`.

    >>> moving_average([Receipt(10, 1000), Receipt(10, 1200), Issue(15)])
    Valuation(issue_costs_cents=(1650,), left_quantity=5, left_cents=550)
    """

    def mix(layers: deque[_Layer], receipt: _Layer) -> None:
        if layers:
            there = layers.pop()
            receipt = _Layer(there.left + receipt.quantity, there.left_cents + receipt.cents)
        layers.append(receipt)

    return _value(movements, mix)


def periodic_average(movements: Iterable[Movement]) -> Valuation:
    """Value the issues of a period at the one average of all that was there in it.

    Opening stock is a receipt. Receipts count as if they all came first: raises NotEnoughToIssue
    where the period's issues come to more than its receipts.

    >>> periodic_average([Receipt(10, 1000), Issue(5), Receipt(10, 1200), Issue(10)])
    Valuation(issue_costs_cents=(550, 1100), left_quantity=5, left_cents=550)
    """
    return moving_average(sorted(movements, key=lambda movement: isinstance(movement, Issue)))


@dataclass(frozen=True)
class AverageState:
    """What came in last with what was there then, in cents, and how much was taken since.

    The taken part is kept apart, since every share of the cents is rounded from the whole.
    """

    quantity: int = 0
    cents: int = 0
    taken: int = 0
    is_known: bool = True


class AverageCost:
    """The moving average of one packed size, worked out again from what came and went."""

    def __init__(self) -> None:
        self._there = _Layer(0, 0)
        self._is_known = True
        # How often something came or went since it began, or since it was kept.
        self.changes = 0

    def change(self, pieces: int, cost_cents: int | None) -> None:
        """Let pieces come in at this cost, None when it is unknown, or go out.

        The average is unknown from then on until the size has run out.
        """
        self.changes += 1
        if pieces > 0:
            self._come_in(pieces, cost_cents)
        else:
            self._go_out(-pieces)

    def copy(self) -> "AverageCost":
        """Return the average as it is now, to be worked with apart."""
        return AverageCost.of(self.state)

    @classmethod
    def of(cls, state: AverageState) -> "AverageCost":
        """Return the average that was kept as this state."""
        found = cls()
        found._there = _Layer(state.quantity, state.cents, state.taken)
        found._is_known = state.is_known
        return found

    @property
    def state(self) -> AverageState:
        """All that the average is, to be kept."""
        return AverageState(
            self._there.quantity, self._there.cents, self._there.taken, self._is_known
        )

    @property
    def quantity(self) -> int:
        return self._there.left

    @property
    def left_cents(self) -> int:
        return 0 if self.is_used_up else self._there.left_cents

    @property
    def is_used_up(self) -> bool:
        """Whether none is there, so that there is no average."""
        return not self._there.left

    @property
    def unit_cost_cents(self) -> Fraction | None:
        """The cost of one piece in cents, exact; None while it is unknown or none is there."""
        if not self._is_known or self.is_used_up:
            return None
        return Fraction(self._there.left_cents, self._there.left)

    def issue(self, pieces: int) -> int | None:
        """Take out so many pieces and return the whole cents they cost.

        None while that is unknown, and where none is there.
        """
        was_there = not self.is_used_up
        cents = self._go_out(pieces)
        return cents if self._is_known and was_there else None

    def _come_in(self, pieces: int, cost_cents: int | None) -> None:
        is_known = cost_cents is not None and (self._is_known or self.is_used_up)
        cents = 0 if self.is_used_up else self._there.left_cents
        self._there = _Layer(self._there.left + pieces, cents + (cost_cents or 0))
        self._is_known = is_known

    def _go_out(self, pieces: int) -> int:
        gone = min(pieces, self._there.left)
        return self._there.take(gone) if gone else 0


@dataclass(frozen=True)
class HeapState(AverageState):
    """A heap of pieces: what is there at the average, and what it remembers beside that.

    One cost `unit_cents` for `unit_pieces` of them when there were some last; no pieces before
    anything had a price. `unpriced` pieces wait for the first one; `short` pieces went out at
    `short_cents` before they came in.
    """

    unit_cents: int = 0
    unit_pieces: int = 0
    unpriced: int = 0
    short: int = 0
    short_cents: int = 0


class HeapAtAverage:
    """Pieces that come in at a price and go out at the average, and what each movement was worth.

    Every movement returns the cents by which it changed what is there, or that it took; they add up
    to what is left, to the cent. Pieces that are found come in at the average, since nobody paid
    for them; before anything has a price they wait for the first one. More than is there goes out
    at the last average, and is made good out of what comes in next.
    """

    def __init__(self) -> None:
        self._there = AverageCost()
        self._last: Fraction | None = None
        self._unpriced = 0
        self._short = 0
        self._short_cents = 0
        # How often something came or went since it began, or since it was kept.
        self.changes = 0

    @classmethod
    def of(cls, state: HeapState) -> "HeapAtAverage":
        """Return the heap that was kept as this state."""
        found = cls()
        found._there = AverageCost.of(state)
        if state.unit_pieces:
            found._last = Fraction(state.unit_cents, state.unit_pieces)
        found._unpriced = state.unpriced
        found._short, found._short_cents = state.short, state.short_cents
        return found

    @property
    def state(self) -> HeapState:
        """All that the heap is, to be kept."""
        return HeapState(
            **asdict(self._there.state),
            unit_cents=0 if self._last is None else self._last.numerator,
            unit_pieces=0 if self._last is None else self._last.denominator,
            unpriced=self._unpriced,
            short=self._short,
            short_cents=self._short_cents,
        )

    @property
    def unit_cents(self) -> Fraction | None:
        """What one costs, exact: the average, the last one when none is left; None if unknown."""
        return self._last

    def change(self, pieces: int, cents: int | None) -> int:
        """Let pieces come in for so many cents, None when nobody paid for them, or go out.

        Return the change of the value.
        """
        self.changes += 1
        if pieces < 0:
            return -(self.issue(-pieces) or 0)
        return self.find(pieces) if cents is None else self.receive(pieces, cents)

    def receive(self, pieces: int, cents: int) -> int:
        """Let pieces come in that cost so many cents in all; return the change of the value."""
        before = self.value_cents
        self._there.change(pieces, cents)
        if self._unpriced:
            self._there.change(self._unpriced, round(Fraction(cents, pieces) * self._unpriced))
            self._unpriced = 0
        if self._short:
            made_good = min(self._short, self._there.quantity)
            self._short_cents -= share_cents(self._short_cents, made_good, self._short)
            self._short -= made_good
            self._there.change(-made_good, None)
        self._look_up()
        return self.value_cents - before

    def find(self, pieces: int) -> int:
        """Let pieces come in that nobody paid for; return the change of the value."""
        if self._last is None:
            self._unpriced += pieces
            return 0
        return self.receive(pieces, round(self._last * pieces))

    def issue(self, pieces: int) -> int | None:
        """Let pieces go out and return the cents they cost; None while nobody knows."""
        if self._last is None:
            self._unpriced = max(self._unpriced - pieces, 0)
            return None
        before, there = self.value_cents, min(pieces, self._there.quantity)
        self._there.change(-there, None)
        self._short_cents += round(self._last * (pieces - there))
        self._short += pieces - there
        cents = before - self.value_cents
        self._look_up()
        return cents

    @property
    def value_cents(self) -> int:
        """What the pieces that are there are worth; below zero for those that went before."""
        return self._there.left_cents - self._short_cents

    def copy(self) -> "HeapAtAverage":
        """Return the heap as it is now, to be worked with apart."""
        found = copy(self)
        found._there = self._there.copy()
        return found

    def _look_up(self) -> None:
        unit = self._there.unit_cost_cents
        self._last = self._last if unit is None else unit


def states_of(
    there: AverageCost | HeapAtAverage, changes: Iterable[tuple[int, int, int, int | None]]
) -> Iterator[tuple[int, AverageState]]:
    """Yield each posting and what is there after it, from changes of one item, in their order.

    A change is item, posting, how many came (below zero: went) and the cents these cost.
    """
    for posting, of_posting in groupby(changes, key=itemgetter(1)):
        for _item, _posting, change, cents in of_posting:
            there.change(change, cents)
        yield posting, there.state


def _value(
    movements: Iterable[Movement], receive: Callable[[deque[_Layer], _Layer], None]
) -> Valuation:
    """Run movements through layers of stock; `receive` says how a receipt joins them."""
    layers: deque[_Layer] = deque()
    there, costs = 0, []
    for movement in movements:
        if isinstance(movement, Receipt):
            there += movement.quantity
            receive(layers, _Layer(movement.quantity, movement.cost_cents))
            continue
        if movement.quantity > there:
            raise NotEnoughToIssue(movement.quantity, there)
        there -= movement.quantity
        costs.append(_take(layers, movement.quantity))
    return Valuation(tuple(costs), there, sum(layer.left_cents for layer in layers))


def _take(layers: deque[_Layer], wanted: int) -> int:
    cost = 0
    while wanted:
        part = min(wanted, layers[0].left)
        cost += layers[0].take(part)
        wanted -= part
        if not layers[0].left:
            layers.popleft()
    return cost


def _check_whole(what: str, value: int, *, least: int) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or value < least:
        raise ValueError(f"The {what} must be a whole number, {least} or more, not {value!r}.")
