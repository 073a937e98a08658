"""The stock side of the journal: what each posting of the ledger moved in value.

Nothing of it is stored while days are open. A line of stock is what its heap (a lot at a place, a
part in all places) was worth after the posting less what it was worth before, at the costs that are
known; so the stock accounts are the valuation of any day, to the cent. What a sale, a delivery or
work cost was written down when it happened and stays: where that differs from what the stock is
worth now, the difference is on the account for costs set anew.

When books are closed, the lines of the closed days are kept as they were then. What they would be
otherwise by now is one line on the first open day. The closing (a service) and the journal (a
query) both read this.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from heapq import merge
from itertools import groupby
from operator import itemgetter
from typing import Any, NamedTuple

from django.db.models import Q, QuerySet, Sum
from django.utils import timezone

from apiary_sales.billing import chart_of_accounts as accounts
from apiary_sales.billing.models import ClosedStock, ClosedStockLine
from apiary_sales.orders import late_costs
from apiary_sales.orders.models import FulfilmentLine, GoodsReturn
from inventory.bottling import valuation
from inventory.bottling.models import BottlingRun, GoodsMade, JarChange
from inventory.shared import days
from inventory.shared.models import BooksLock
from inventory.stock.models import Place, Posting, PostingLine

# What is left of a posting goes to the account of the outside place; these are known otherwise.
_ACCOUNTS_OUTSIDE = {
    Place.Kind.HARVEST: accounts.HARVEST,
    Place.Kind.SUPPLIER: accounts.NOT_BILLED,
    Place.Kind.OWNER: accounts.NOT_BILLED,
    Place.Kind.CUSTOMER: accounts.COST_OF_SALES,
    Place.Kind.PACKING: accounts.FILLED,
    Place.Kind.FILLING_LOSS: accounts.FILLED,
    Place.Kind.OWN_USE: accounts.OWN_USE,
    Place.Kind.GIVEN_AWAY: accounts.GIVEN_AWAY,
    Place.Kind.COUNT_DIFFERENCE: accounts.COUNTED,
    Place.Kind.SCALE_DIFFERENCE: accounts.COUNTED,
    Place.Kind.TO_SETTLE: accounts.TO_SETTLE,
}
_FROM_OTHERS = [
    kind for kind, account in _ACCOUNTS_OUTSIDE.items() if account == accounts.NOT_BILLED
]
# By what the database calls them, since a long history asks for them a million times.
_OUTSIDE = {kind.value: account for kind, account in _ACCOUNTS_OUTSIDE.items()}
_IN_HOUSE = frozenset(kind.value for kind in Place.IN_HOUSE)
# What these accounts get was written down; they take no rounding.
_WRITTEN_DOWN = (accounts.COST_OF_SALES, accounts.NOT_BILLED)
_WITH_A_RECEIPT = (Posting.Kind.PART_RECEIPT, Posting.Kind.GOODS_RECEIPT)


# Of lines that are told without their days.
NO_DAY = date.max

# What is valued together: an item and lot at a place; of parts, without a lot, in all places (0).
Heap = tuple[int, int | None, int]


class StockLine(NamedTuple):
    """One line: debit above zero, credit below it, in cents.

    Lines of stock name the item, the lot and how much came (below zero: went). Without a posting it
    is what closed days would be by now, less what they were.
    """

    counts_on: date
    posting: int | None
    account: str
    cents: int
    item: int | None = None
    lot: int | None = None
    quantity: int = 0
    has_no_cost: bool = False


@dataclass(frozen=True)
class Kept:
    """The days of one closing that are closed still: after one day up to another."""

    closing: int
    after: date | None
    until: date

    @property
    def lines(self) -> Q:
        found = Q(closing=self.closing, counts_on__lte=self.until)
        return found & Q(counts_on__gt=self.after) if self.after else found


class _Moved(NamedTuple):
    """A line of the ledger, as far as its value is concerned."""

    posting: int
    counts_on: date
    place: str
    kind: str
    item: int
    lot: int | None
    place_id: int
    quantity: int

    @property
    def heap(self) -> Heap:
        return (self.item, self.lot, self.place_id if self.lot else 0)

    @property
    def account(self) -> str:
        return _account_of(self.kind, self.place)


class StockBook:
    """The stock side as it is known now, or as it was at a moment."""

    def __init__(self, known_at: datetime | None = None) -> None:
        self.known_at = known_at
        self.kept = _kept(known_at)
        self.closed_until = self.kept[-1].until if self.kept else None
        self._first_accounts: dict[Heap, str] = {}

    @cached_property
    def costs(self) -> valuation.UnitCosts:
        return valuation.unit_costs(self.known_at)

    def lines(self, until: date | None = None) -> Iterator[StockLine]:
        """Yield all lines that count up to a day, those of closed days first."""
        for row in self.closed_lines(until).iterator():
            yield StockLine(
                row.counts_on,
                row.posting_id,
                row.account,
                row.cents,
                row.item_id,
                row.lot_id,
                row.quantity,
                row.has_no_cost,
            )
        yield from self.open_lines(until)

    def closed_lines(self, until: date | None = None) -> QuerySet[ClosedStockLine]:
        """Return what was kept of the closed days."""
        if not self.kept:
            return ClosedStockLine.objects.none()
        wanted = Q()
        for kept in self.kept:
            wanted |= kept.lines
        found = ClosedStockLine.objects.filter(wanted)
        if until is not None:
            found = found.filter(counts_on__lte=until)
        return found.order_by("counts_on", "id")

    def open_lines(self, until: date | None = None, *, by_day: bool = True) -> Iterator[StockLine]:
        """Yield what the postings of the open days come to, in the order of their days.

        Not `by_day` they come in the order of their numbers, without their days. By that each
        posting has the same lines but for cents that were rounded, and each account the same sum.
        Of either, a day is in memory at a time.
        """
        if until is not None and self.closed_until is not None and until <= self.closed_until:
            return
        there = self._there_at_first()
        if self.closed_until is not None:
            yield from self._set_anew(there, self.closed_until + timedelta(days=1))
        for lines in self._moved(until, by_day=by_day):
            yield from self._valued(lines, there)

    def _ledger(self) -> QuerySet[PostingLine]:
        # What belongs to other beekeepers is no stock of the house.
        lines = PostingLine.objects.filter(lot__owner=None)
        if self.known_at is not None:
            lines = lines.filter(posting__recorded_at__lte=self.known_at)
        return lines

    def _there_at_first(self) -> dict[Heap, int]:
        """Return how much of each heap there was when the last closed day ended."""
        there: dict[Heap, int] = defaultdict(int)
        if self.closed_until is None:
            return there
        sums = (
            self._ledger().filter(place__kind__in=Place.IN_HOUSE).counting_by(self.closed_until)  # type: ignore[attr-defined]
        )
        for item, lot, place, kind, of, total in (
            sums.values("item", "lot", "place", "place__kind", "item__kind")
            .annotate(total=Sum("quantity"))
            .order_by()
            .values_list("item", "lot", "place", "place__kind", "item__kind", "total")
        ):
            heap = (item, lot, place if lot else 0)
            there[heap] += total
            self._first_accounts[heap] = _account_of(of, kind)
        return there

    def _set_anew(self, there: dict[Heap, int], day: date) -> Iterator[StockLine]:
        """Yield what closed stock is worth by now, less what it was worth when it was closed."""
        differences: dict[tuple[str, int | None, int | None], int] = defaultdict(int)
        of_parts = self.costs.part_book.value_by(self.closed_until)
        for heap, quantity in there.items():
            item, lot, _place = heap
            cents = self.costs.cents(item, lot, quantity) if lot else of_parts.get(item, 0)
            differences[self._first_accounts[heap], item, lot] += cents
        kept = self.closed_lines().filter(account__in=(*accounts.VALUED, accounts.RETURNED))
        for account, kept_item, kept_lot, cents in (
            kept.order_by().values_list("account", "item", "lot").annotate(Sum("cents"))
        ):
            differences[account, kept_item, kept_lot] -= cents
        differences[accounts.NOT_BILLED, None, None] = self._not_billed() - sum(
            self.closed_lines()
            .filter(account=accounts.NOT_BILLED)
            .order_by()
            .values_list("cents", flat=True)
        )
        # What was sold on closed days and got its cost since.
        differences[accounts.COST_OF_SALES, None, None] = self._sold_then() - sum(
            self.closed_lines()
            .filter(account=accounts.COST_OF_SALES)
            .order_by()
            .values_list("cents", flat=True)
        )
        total = 0
        for (account, of_item, of_lot), cents in differences.items():
            if cents:
                total += cents
                yield StockLine(day, None, account, cents, of_item, of_lot)
        if total:
            yield StockLine(day, None, accounts.COSTS_ANEW, -total)

    def _not_billed(self) -> int:
        """Return what came in on closed days, at the costs known by now; it is owed: below zero.

        A delivery whose bill says another cost, or the first one, is cleared by that.
        """
        came = (
            self._ledger().filter(place__kind__in=_FROM_OTHERS).counting_by(self.closed_until)  # type: ignore[attr-defined]
        )
        cents, receipts = 0, set()
        for posting, item, lot, quantity in (
            came.values("posting", "place", "item", "lot")
            .annotate(total=Sum("quantity"))
            .order_by()
            .values_list("posting", "item", "lot", "total")
        ):
            if posting in self._written.receipts:
                receipts.add(posting)
            else:
                cents += self.costs.cents(item, lot, quantity)
        return cents - sum(self._written.receipts[posting] for posting in receipts)

    def _sold_then(self) -> int:
        """Return what was sold on closed days had cost, by the costs known by now."""
        out = (
            self._ledger().filter(place__kind=Place.Kind.CUSTOMER).counting_by(self.closed_until)  # type: ignore[attr-defined]
        )
        postings = set(out.order_by().values_list("posting", flat=True)) - self._written.unfit
        return sum(self._written.sold.get(posting, 0) for posting in postings)

    def _moved(self, until: date | None, *, by_day: bool) -> Iterator[list[_Moved]]:
        """Yield what each posting moved, of item, lot and place in their order."""
        lines = self._ledger()
        if until is not None:
            lines = lines.counting_by(until)  # type: ignore[attr-defined]
        if self.closed_until is not None:
            closed = Q(posting__counts_on__lte=self.closed_until) | Q(
                posting__counts_on=None,
                **days.lookups("posting__occurred_at", last=self.closed_until),
            )
            lines = lines.exclude(closed)
        if not by_day:
            of_postings = lines.order_by("posting").values_list("posting", *_COLUMNS).iterator()
            for posting, rows in groupby(of_postings, itemgetter(0)):
                yield _of_posting(NO_DAY, posting, rows)
            return
        for day, of_day in groupby(_by_day(lines), itemgetter(0)):
            # What counts on another day than its own comes after what does not.
            in_order = sorted((row[1:] for row in of_day), key=itemgetter(0))
            for posting, rows in groupby(in_order, itemgetter(0)):
                yield _of_posting(day, posting, rows)

    def _valued(self, lines: list[_Moved], there: dict[Heap, int]) -> Iterator[StockLine]:
        """Yield the balanced lines of one posting, and let `there` be what is there after it."""
        posting, day = lines[0].posting, lines[0].counts_on
        stock: dict[tuple[str, int, int | None], list[int]] = {}
        # A posting changes a part once, whatever the places.
        of_parts: set[int] = set()
        for line in lines:
            if line.place not in _IN_HOUSE:
                continue
            heap = line.heap
            before = there[heap]
            after = there[heap] = before + line.quantity
            sums = stock.setdefault((line.account, line.item, line.lot), [0, 0])
            sums[0] += line.quantity
            if line.lot is not None:
                sums[1] += self.costs.cents(line.item, line.lot, after)
                sums[1] -= self.costs.cents(line.item, line.lot, before)
            elif line.item not in of_parts:
                of_parts.add(line.item)
                sums[1] += self.costs.part_book.changes.get((posting, line.item), 0)
        for (account, item, lot), (quantity, cents) in stock.items():
            if quantity or cents:
                has_no_cost = self.costs.of(item, lot) is None
                yield StockLine(day, posting, account, cents, item, lot, quantity, has_no_cost)
        moved_cents = sum(cents for _quantity, cents in stock.values())
        for account, cents in self._against(posting, lines, moved_cents).items():
            if cents:
                yield StockLine(day, posting, account, cents)

    def _against(self, posting: int, lines: Iterable[_Moved], moved_cents: int) -> dict[str, int]:
        """Return what balances so many cents of stock, by account."""
        found: dict[str, int] = {}
        outside = [line for line in lines if line.place not in _IN_HOUSE]
        is_filling = any(line.place == Place.Kind.PACKING for line in outside)
        for line in outside:
            account = _OUTSIDE.get(line.place, accounts.LOSSES)
            if is_filling and account in (accounts.LOSSES, accounts.FILLED):
                # What broke or stayed in the filler is in the cost of the jars.
                found.setdefault(accounts.FILLED, 0)
            else:
                cents = self.costs.cents(line.item, line.lot, line.quantity)
                found[account] = found.get(account, 0) + cents
        written = self._written
        if accounts.COST_OF_SALES in found:
            if posting in written.unfit:
                lost = found.pop(accounts.COST_OF_SALES)
                found[accounts.LOSSES] = found.get(accounts.LOSSES, 0) + lost
            else:
                found[accounts.COST_OF_SALES] = written.sold.get(posting, 0)
        if posting in written.receipts:
            found[accounts.NOT_BILLED] = -written.receipts[posting]
        if posting in written.labour:
            found[accounts.LABOUR] = -written.labour[posting]
        rest = -moved_cents - sum(found.values())
        taker = _taker(found, is_filling=is_filling)
        found[taker] = found.get(taker, 0) + rest
        return found

    @cached_property
    def _written(self) -> "_WrittenDown":
        return _written_down(self.known_at)


# What is read of a line after its posting.
_COLUMNS = ("place__kind", "item__kind", "item", "lot", "place", "quantity")


def _by_day(lines: QuerySet[PostingLine]) -> Iterator[tuple[Any, ...]]:
    """Yield the lines with the day on which they count before them, day by day.

    Those of one posting follow each other. Few count on another day than they happened.
    """
    own = (
        lines.filter(posting__counts_on=None)
        .order_by("posting__occurred_at", "posting")
        .values_list("posting__occurred_at", "posting", *_COLUMNS)
    )
    late = (
        lines.filter(posting__counts_on__isnull=False)
        .order_by("posting__counts_on", "posting")
        .values_list("posting__counts_on", "posting", *_COLUMNS)
    )
    return merge(_on_their_days(own), late.iterator(), key=itemgetter(0))


def _on_their_days(rows: QuerySet[PostingLine, Any]) -> Iterator[tuple[Any, ...]]:
    at, day = None, NO_DAY
    for occurred_at, *rest in rows.iterator():
        if occurred_at != at:
            at, day = occurred_at, timezone.localdate(occurred_at)
        yield day, *rest


def _of_posting(day: date, posting: int, rows: Iterable[tuple[Any, ...]]) -> list[_Moved]:
    """Return what one posting moved on the whole, of item, lot and place in their order."""
    sums: dict[tuple[str, str, int, int | None, int], int] = {}
    for _posting, place, kind, item, lot, place_id, quantity in rows:
        moved = place, kind, item, lot, place_id
        sums[moved] = sums.get(moved, 0) + quantity
    found = [_Moved(posting, day, *moved, quantity) for moved, quantity in sums.items() if quantity]
    return sorted(found, key=lambda line: (line.item, line.lot or 0, line.place_id))


@dataclass(frozen=True)
class _WrittenDown:
    """What was written down when it happened, in cents by posting, undoings with the sign turned.

    `sold`: what goods cost when they were handed over, or got as their cost since; below zero when
    they came back fit to be sold. `unfit`: what came back and can't be sold. `receipts`: what parts
    and goods that came in cost. `labour`: work that is in jars and goods.
    """

    sold: dict[int, int]
    unfit: set[int]
    receipts: dict[int, int]
    labour: dict[int, int]


def _written_down(known_at: datetime | None) -> _WrittenDown:
    sold = dict(
        FulfilmentLine.objects.filter(fulfilment__posting__isnull=False, lot__isnull=False)
        .order_by()
        .values_list("fulfilment__posting")
        .annotate(cents=Sum("cost_cents", default=0))
    )
    back = GoodsReturn.objects.filter(is_fit=True)
    for posting, cents in back.values_list("posting", "cost_cents"):
        sold[posting] = sold.get(posting, 0) - (cents or 0)
    if known_at is not None:
        for posting, cents in late_costs.known_otherwise_at(known_at).items():
            sold[posting] = sold.get(posting, 0) + cents
    unfit = set(GoodsReturn.objects.filter(is_fit=False).values_list("posting", flat=True))
    receipts: dict[int, int] = dict.fromkeys(
        Posting.objects.filter(
            Q(kind__in=_WITH_A_RECEIPT) | Q(corrects__kind__in=_WITH_A_RECEIPT)
        ).values_list("pk", flat=True),
        0,
    )
    receipts |= valuation.receipt_cents(known_at)
    labour: dict[int, int] = {}
    for rows in (BottlingRun.objects, JarChange.objects, GoodsMade.objects):
        for posting, cents in rows.filter(posting__isnull=False, labour_cents__gt=0).values_list(
            "posting", "labour_cents"
        ):
            if posting is not None and cents is not None:
                labour[posting] = cents
    for undoing, undone in Posting.objects.filter(reverses__isnull=False).values_list(
        "pk", "reverses"
    ):
        for figures in (sold, receipts, labour):
            if undone is not None and undone in figures:
                figures[undoing] = -figures[undone]
        if undone in unfit:
            unfit.add(undoing)
    return _WrittenDown(sold, unfit, receipts, labour)


def _taker(found: Mapping[str, int], *, is_filling: bool) -> str:
    """Return the account that takes what is left of a posting, so that it balances."""
    open_to_it = [account for account in found if account != accounts.LABOUR]
    if any(account in _WRITTEN_DOWN for account in found) or not open_to_it:
        return accounts.COSTS_ANEW
    if is_filling:
        return accounts.FILLED
    return max(open_to_it, key=lambda account: abs(found[account]))


def _account_of(kind: str, place: str) -> str:
    return accounts.RETURNED if place == Place.Kind.RETURNED else f"stock:{kind}"


def _kept(known_at: datetime | None) -> list[Kept]:
    """Return what is kept of the days that are closed, or were at a moment, in their order."""
    found: list[Kept] = []
    locks = BooksLock.objects.order_by("id")
    if known_at is not None:
        locks = locks.filter(locked_at__lte=known_at)
    closings = dict(ClosedStock.objects.values_list("lock", "pk"))
    after_of = dict(ClosedStock.objects.values_list("lock", "after"))
    for lock, until in locks.values_list("pk", "locked_until"):
        still = [
            row for row in found if until is not None and (row.after is None or row.after < until)
        ]
        found = [Kept(row.closing, row.after, min(row.until, until)) for row in still if until]
        if lock in closings and until is not None:
            found.append(Kept(closings[lock], after_of[lock], until))
    return found
