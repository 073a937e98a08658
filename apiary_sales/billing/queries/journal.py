"""The journal of money and stock, and the trial balance: every movement as debits and credits.

Money is read from the entries of the book, on the day they count on; stock from `stock_book`. Both
are amounts in cents on accounts of the chart, debit above zero and credit below it.
"""

from array import array
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from heapq import merge
from itertools import groupby
from operator import attrgetter, itemgetter
from typing import Any, overload

from django.db.models import Count, Max, OneToOneField, Q, QuerySet, Sum
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from apiary_sales.accounts.models import User
from apiary_sales.billing import chart_of_accounts as accounts
from apiary_sales.billing.chart_of_accounts import ChartAccount
from apiary_sales.billing.models import (
    AccountMonth,
    ClosedStock,
    Entry,
    EntryLine,
    LedgerAccount,
    StandDayClose,
    StandLateCash,
)
from apiary_sales.billing.queries.as_of import AsOf
from apiary_sales.billing.stock_book import StockBook
from inventory.bottling import valuation
from inventory.shared.literals import NO_TEXT
from inventory.shared.proofs import unequal
from inventory.stock.models import Place, Posting, PostingLine

FIRST_DAY = date.min

# Entry or posting, with its key; of closed days that differ by now there is neither.
Source = tuple[str, int]
KINDS = ENTRY, POSTING, SET_ANEW = "entry", "posting", "set_anew"
# The day it counts on, what it is of, the account, and cents.
_Row = tuple[date, Source, str, int]


@dataclass(frozen=True)
class JournalFilters:
    """The days that count, one account or all, and the moment up to which entries are known."""

    since: date | None = None
    until: date | None = None
    account: str = ""
    known_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class AccountMovement:
    """So many cents on one account, by one entry or posting."""

    counts_on: date
    source: Source
    account: str
    cents: int


@dataclass(frozen=True)
class JournalLine:
    """A movement with what it belongs to, in words."""

    counts_on: date
    happened_on: date
    source: Source
    account: ChartAccount
    cents: int
    document: str
    url: str | None
    who: str
    note: str

    @property
    def debit_cents(self) -> int:
        return max(self.cents, 0)

    @property
    def credit_cents(self) -> int:
        return max(-self.cents, 0)


@dataclass
class TrialBalanceRow:
    """One account: what was on it, what came and went, and what is on it; debit above zero."""

    account: ChartAccount
    opening_cents: int = 0
    debit_cents: int = 0
    credit_cents: int = 0

    @property
    def closing_cents(self) -> int:
        return self.opening_cents + self.debit_cents - self.credit_cents


@dataclass(frozen=True)
class _Told:
    """What an entry or posting is, in words."""

    happened_on: date
    document: str
    url: str | None
    who: str
    note: str


def chart() -> dict[str, ChartAccount]:
    """Return all accounts by key, in the order of their numbers, with those that entries use.

    An account without a detail is in the chart already: only details are looked for.
    """
    with_detail = EntryLine.objects.filter(detail__gt=NO_TEXT)
    used = with_detail.order_by().values_list("account", "detail").distinct()
    return accounts.chart((accounts.key_of(*row) for row in used), LedgerAccount.objects.all())


class AccountMovements(Sequence[AccountMovement]):
    """Movements of one account or all, a few bytes each: a long history has millions of them."""

    def __init__(self, account: str = "") -> None:
        self._account = account
        self._days = array("i")
        self._kinds = array("b")
        self._keys = array("q")
        self._accounts = array("i")
        self.cents = array("q")
        self._places: dict[str, int] = {}

    def append(self, day: date, source: Source, account: str, cents: int) -> None:
        if self._account not in ("", account):
            return
        kind, key = source
        self._days.append(day.toordinal())
        self._kinds.append(KINDS.index(kind))
        self._keys.append(key)
        self._accounts.append(self._places.setdefault(account, len(self._places)))
        self.cents.append(cents)

    def __len__(self) -> int:
        return len(self.cents)

    @overload
    def __getitem__(self, at: int) -> AccountMovement: ...
    @overload
    def __getitem__(self, at: slice) -> list[AccountMovement]: ...
    def __getitem__(self, at: int | slice) -> AccountMovement | list[AccountMovement]:
        if isinstance(at, slice):
            return [self[place] for place in range(*at.indices(len(self)))]
        return AccountMovement(
            date.fromordinal(self._days[at]),
            (KINDS[self._kinds[at]], self._keys[at]),
            self._names[self._accounts[at]],
            self.cents[at],
        )

    @cached_property
    def _names(self) -> list[str]:
        return [*self._places]


class Journal:
    """The movements of some days, and what was on each account before them.

    `moves` are those of the chosen account, or all; `debit` and `credit` what came to each account
    and what went. `lines_without_cost` is how many lines of stock in these days have no cost yet,
    counted as 0. All is read day by day, so that a long history needs little memory.
    """

    def __init__(self, asked: JournalFilters) -> None:
        self.asked = asked
        self._since = asked.since or FIRST_DAY
        self._as_of = AsOf(asked.until or date.max, asked.known_at)
        self.opening: dict[str, int] = defaultdict(int)
        self.debit: dict[str, int] = defaultdict(int)
        self.credit: dict[str, int] = defaultdict(int)
        self.moves = AccountMovements(asked.account)
        self.lines_without_cost = 0
        in_order = merge(self._money(), self._stock(), key=itemgetter(0))
        for day, rows in groupby(in_order, itemgetter(0)):
            self._add(day, rows)

    @cached_property
    def chart(self) -> dict[str, ChartAccount]:
        return chart()

    def lines(self, moves: Sequence[AccountMovement] | None = None) -> list[JournalLine]:
        """Return some of these movements or all, with what they belong to."""
        moves = self.moves if moves is None else moves
        told = {**_entries_told(moves), **_postings_told(moves)}
        return [
            JournalLine(
                counts_on=move.counts_on,
                source=move.source,
                account=self.chart[move.account],
                cents=move.cents,
                **vars(told.get(move.source) or _set_anew_told(move.counts_on)),
            )
            for move in moves
        ]

    def trial_balance(self) -> list[TrialBalanceRow]:
        """Return each account that something is or was on, in the order of the chart."""
        rows = {key: TrialBalanceRow(account) for key, account in self.chart.items()}
        for key, cents in self.opening.items():
            rows[key].opening_cents += cents
        for key, cents in self.debit.items():
            rows[key].debit_cents += cents
        for key, cents in self.credit.items():
            rows[key].credit_cents += cents
        return [
            row for row in rows.values() if row.opening_cents or row.debit_cents or row.credit_cents
        ]

    def _add(self, day: date, rows: Iterable[_Row]) -> None:
        """Add what one day brought: what an entry or posting moved on one account is one sum."""
        found: dict[tuple[Source, str], int] = {}
        for _day, source, account, cents in rows:
            moved = source, account
            found[moved] = found.get(moved, 0) + cents
        in_order = sorted(found.items(), key=lambda each: (each[0][0], -each[1]))
        for (source, account), cents in in_order:
            if not cents:
                continue
            if cents > 0:
                self.debit[account] += cents
            else:
                self.credit[account] -= cents
            self.moves.append(day, source, account, cents)

    def _money(self) -> Iterator[_Row]:
        """Yield what each entry of the days moved, day by day; add up what was before them."""
        lines = EntryLine.objects.filter(self._as_of.entries()).order_by()
        for (account, detail), cents in self._money_before(lines).items():
            self.opening[accounts.key_of(account, detail)] += cents
        for day, entry, account, detail, cents in (
            lines.filter(entry__entered_on__gte=self._since)
            .order_by("entry__entered_on", "entry", "account", "detail")
            .values_list("entry__entered_on", "entry", "account", "detail", "amount_cents")
            .iterator()
        ):
            yield day, (ENTRY, entry), accounts.key_of(account, detail), cents

    def _money_before(self, lines: QuerySet[EntryLine]) -> Mapping[tuple[str, str], int]:
        """Return what was on each account of money and detail before the first day."""
        if self.asked.known_at is None and self._since <= self._as_of.day:
            return AccountMonth.objects.balances(EntryLine.Account.values, before=self._since)
        # The kept months are those that are known now.
        before = lines.filter(entry__entered_on__lt=self._since)
        sums = before.values_list("account", "detail").annotate(Sum("amount_cents"))
        return {(account, detail): cents for account, detail, cents in sums}

    def _stock(self) -> Iterator[_Row]:
        """Yield the same of stock: what was kept of closed days, and what is open."""
        book = StockBook(self.asked.known_at)
        until = self.asked.until
        closed = book.closed_lines(until).order_by()
        for account, cents in (
            closed.filter(counts_on__lt=self._since).values_list("account").annotate(Sum("cents"))
        ):
            self.opening[account] += cents
        for day, posting, account, cents, without in (
            closed.filter(counts_on__gte=self._since)
            .order_by("counts_on", "posting", "account")
            .values_list("counts_on", "posting", "account")
            .annotate(total=Sum("cents"), without=Count("pk", filter=Q(has_no_cost=True)))
            .iterator()
        ):
            self.lines_without_cost += without
            yield day, _source(posting), account, cents
        for line in book.open_lines(until):
            if line.counts_on < self._since:
                self.opening[line.account] += line.cents
                continue
            self.lines_without_cost += line.has_no_cost
            yield line.counts_on, _source(line.posting), line.account, line.cents


def faults() -> Iterator[str]:
    """Yield one sentence for each way in which the journal is not the books."""
    yield from worked_out_anew()
    for proof in PROOFS:
        yield from proof()


def worked_out_anew() -> Iterator[str]:
    """Work out every movement from the first, and what the accounts come to.

    It takes as long as a report over all days. What it reads is proved by itself: that entries and
    what was kept of closed stock balance, and the quantities of both.
    """
    entered: dict[str, int] = defaultdict(int)
    for found in (_unequal_money(entered), _unequal_stock(entered)):
        for (kind, key), cents in found:
            yield f"The journal has {cents} cents too much in debit for {kind} {key}."
    total = sum(entered.values())
    if total:
        yield f"The trial balance comes to {total} cents, not zero."
    yield from _stock_faults(entered)


def _unequal_money(entered: dict[str, int]) -> Iterator[tuple[Source, int]]:
    """Yield each entry that does not balance; add what all come to on each account."""
    lines = EntryLine.objects.filter(AsOf(date.max).entries()).order_by()
    for account, detail, cents in lines.values_list("account", "detail").annotate(
        Sum("amount_cents")
    ):
        entered[accounts.key_of(account, detail)] += cents
    for entry, cents in (
        lines.values_list("entry").annotate(cents=Sum("amount_cents")).exclude(cents=0).iterator()
    ):
        yield (ENTRY, entry), cents


def _unequal_stock(entered: dict[str, int]) -> Iterator[tuple[Source, int]]:
    """Yield each posting that does not balance; add what all come to on each account."""
    book = StockBook()
    closed = book.closed_lines().order_by()
    for account, cents in closed.values_list("account").annotate(Sum("cents")):
        entered[account] += cents
    unequal_by: dict[int | None, int] = defaultdict(int)
    unequal_by.update(
        closed.values_list("posting").annotate(total=Sum("cents")).exclude(total=0).iterator()
    )
    # The lines of one posting follow each other.
    for posting, lines in groupby(book.open_lines(by_day=False), attrgetter("posting")):
        total = 0
        for line in lines:
            entered[line.account] += line.cents
            total += line.cents
        if total:
            unequal_by[posting] += total
    for posting, cents in unequal_by.items():
        if cents:
            yield _source(posting), cents


def _stock_faults(entered: Mapping[str, int]) -> Iterator[str]:
    """The stock accounts are what the stock is worth, worked out from what there is."""
    worth = dict.fromkeys(accounts.VALUED, 0)
    for row in valuation.worth_on(None):
        worth[f"stock:{row.kind}"] += row.cents or 0
    for key, cents in worth.items():
        if entered.get(key, 0) != cents:
            yield f"Account {key} has {entered.get(key, 0)} cents, the stock is worth {cents}."


def _kept_faults() -> Iterator[str]:
    """What was kept at a closing balances, and has the quantities that the ledger had then."""
    for closing in ClosedStock.objects.select_related("lock"):
        lock = closing.lock
        if lock.locked_until is None:
            yield f"Closing {closing.pk} keeps lines of no day."
            continue
        total = closing.lines.aggregate(cents=Sum("cents", default=0))["cents"]
        if total:
            yield f"The stock kept at closing {closing.pk} comes to {total} cents, not zero."
        for day, posting, cents in (
            closing.lines.order_by("counts_on", "posting")
            .values_list("counts_on", "posting")
            .annotate(cents=Sum("cents"))
            .exclude(cents=0)
            .iterator()
        ):
            yield (
                f"The stock kept at closing {closing.pk} for {_of(posting)} on {day} comes to "
                f"{cents} cents, not zero."
            )
        lines = PostingLine.objects.filter(
            lot__owner=None,
            place__kind__in=Place.IN_HOUSE,
            posting__recorded_at__lte=lock.locked_at,
        )
        there = lines.counting_by(lock.locked_until)
        if closing.after:
            there = there.exclude(pk__in=lines.counting_by(closing.after).values("pk"))
        kept = closing.lines.exclude(item=None)
        for item, lot, had, quantity in unequal([_quantities(there)], [_quantities(kept)], keys=2):
            yield (
                f"Closing {closing.pk} keeps {quantity} of item {item}, lot "
                f"{lot}; the ledger had {had}."
            )


def _of(posting: int | None) -> str:
    return "costs set anew" if posting is None else f"posting {posting}"


def _quantities(lines: QuerySet[Any]) -> QuerySet[Any, Any]:
    return lines.order_by().values_list("item", "lot").annotate(total=Sum("quantity"))


PROOFS: tuple[Callable[[], Iterator[str]], ...] = (_kept_faults,)


def _source(posting: int | None) -> Source:
    return (SET_ANEW, 0) if posting is None else (POSTING, posting)


def _keys(moves: Iterable[AccountMovement], kind: str) -> set[int]:
    return {move.source[1] for move in moves if move.source[0] == kind}


def _set_anew_told(day: date) -> _Told:
    return _Told(day, _("Costs set anew since the books were closed"), None, "", "")


def _postings_told(moves: Iterable[AccountMovement]) -> dict[Source, _Told]:
    found = Posting.objects.in_bulk(_keys(moves, POSTING))
    people = User.objects.in_bulk({posting.recorded_by_id for posting in found.values()})
    return {
        (POSTING, key): _Told(
            happened_on=timezone.localdate(posting.occurred_at),
            document=capfirst(str(posting)),
            url=reverse("inventory:posting_detail", args=[key]),
            who=people[posting.recorded_by_id].display_name,
            note=posting.note,
        )
        for key, posting in found.items()
    }


def _entries_told(moves: Iterable[AccountMovement]) -> dict[Source, _Told]:
    keys = _keys(moves, ENTRY)
    entries = Entry.objects.select_related(
        "invoice__customer", "payment__customer", "invoice__issued_by", "payment__received_by"
    ).in_bulk(keys)
    documents = _documents(keys)
    names = _names(keys)
    found = {}
    for key, entry in entries.items():
        document, role = documents.get(key, (None, ""))
        if entry.invoice_id and entry.invoice:
            text, who, note = str(entry.invoice), entry.invoice.issued_by, ""
            url: str | None = reverse("billing:invoice_detail", args=[entry.invoice_id])
        elif entry.payment_id and entry.payment:
            text, who = entry.get_kind_display(), entry.payment.received_by
            if entry.payment.reverses_id:
                text = _("%(what)s undone") % {"what": text}
            url = reverse("billing:payment_detail", args=[entry.payment_id])
            note = " ".join(filter(None, [entry.payment.reference, entry.payment.note]))
        else:
            text, url = entry.get_kind_display(), _url_of(document)
            if isinstance(document, StandDayClose | StandLateCash):
                text = str(document)
            if _is_undoing(document, role):
                text = _("%(what)s undone") % {"what": text}
            who, note = _who_of(document, role), str(getattr(document, "note", "") or "")
        found[ENTRY, key] = _Told(
            happened_on=entry.happened_on,
            document=capfirst(text),
            url=url,
            who=who.display_name if who else "",
            note=" · ".join(filter(None, [names.get(key, ""), note])),
        )
    return found


def _names(entries: set[int]) -> dict[int, str]:
    """Return the customer or supplier of each entry."""
    rows = (
        EntryLine.objects.filter(entry__in=entries)
        .order_by()
        .values_list("entry")
        .annotate(Max("customer__name"), Max("supplier__name"))
    )
    return {entry: customer or supplier or "" for entry, customer, supplier in rows}


def _documents(entries: set[int]) -> dict[int, tuple[Any, str]]:
    """Return the document of each entry that it names itself, and as what it names it.

    Every model that points at one entry of the book is such a document, whatever it is.
    """
    found: dict[int, tuple[Any, str]] = {}
    for relation in Entry._meta.get_fields(include_hidden=True):
        field = getattr(relation, "field", None)
        if not isinstance(field, OneToOneField) or field.related_model is not Entry:
            continue
        if field.model is Entry:
            continue
        for document in field.model._default_manager.filter(**{f"{field.name}__in": entries}):
            found[getattr(document, field.attname)] = (document, field.name)
    return found


def _url_of(document: Any) -> str | None:
    return document.get_absolute_url() if hasattr(document, "get_absolute_url") else None


def _is_undoing(document: Any, role: str) -> bool:
    """Tell whether a document names an entry as its undoing, or undoes another document."""
    return role.startswith("undo") or getattr(document, "reverses_id", None) is not None


def _who_of(document: Any, role: str) -> Any:
    """Return who entered a document, or who undid it where the entry is its undoing."""
    if document is None:
        return None
    people = [
        field
        for field in document._meta.get_fields()
        if getattr(field, "many_to_one", False) and field.related_model is User
    ]
    is_undoing = role.startswith("undo")
    people.sort(key=lambda field: field.name.startswith("undo") != is_undoing)
    return getattr(document, people[0].name) if people else None
