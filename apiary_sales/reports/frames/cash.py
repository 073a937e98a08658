"""Money by month: what came in and went out, what a year before, and what is still to come.

The money of the house is what is on the accounts of cash, checks, cards and the bank. An entry
that moves it says on its other accounts where it came from or went to, so that what is shown adds
up to what these accounts have, to the cent. Money that only goes from one of them to another, as
on a deposit slip, is on no other account and is no income.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import BooleanField, Case, Exists, OuterRef, Sum, When
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import AccountMonth, Entry, EntryLine
from apiary_sales.billing.queries.cash_book import KEPT_IN
from apiary_sales.reports.frames import to_come
from apiary_sales.reports.frames.make import TEXT, WHOLE, frame_of
from apiary_sales.reports.frames.months import is_unfinished, month_label
from apiary_sales.reports.frames.to_come import ToCome
from inventory.shared.days import month_end, months_between, years_before
from inventory.shared.month_of import MonthOf

if TYPE_CHECKING:
    import pandas as pd

Account = EntryLine.Account
MONEY = tuple(KEPT_IN)

# Rows that are no month.
OVERDUE, NO_DAY = "overdue", "no_day"

# What money is from customers; all else that is not named below was paid out, or is less of it.
_RECEIVED = {
    Account.RECEIVABLE,
    Account.SALES,
    Account.GIFTS,
    Account.ROUNDING,
    Account.CASH_ROUNDING,
    Account.INTEREST,
    Account.DISCOUNTS,
    Account.WRITE_OFFS,
}

MONTH = {
    "month": TEXT,
    "received_cents": WHOLE,
    "received_before_cents": WHOLE,
    "paid_cents": WHOLE,
    "paid_before_cents": WHOLE,
    "net_cents": WHOLE,
    "other_cents": WHOLE,
    "there_cents": WHOLE,
    # What the sums above are made of.
    "given_cents": WHOLE,
    "given_back_cents": WHOLE,
    "spent_cents": WHOLE,
    "bills_paid_cents": WHOLE,
    "tax_paid_cents": WHOLE,
    "paid_otherwise_cents": WHOLE,
    "tips_cents": WHOLE,
    "owner_cents": WHOLE,
    "over_cents": WHOLE,
    "opening_cents": WHOLE,
    # No money of the house: what the owner paid for it.
    "by_owner_cents": WHOLE,
}
COMING = {
    "month": TEXT,
    "label": TEXT,
    "due_cents": WHOLE,
    "bills_cents": WHOLE,
    "expected_in_cents": WHOLE,
    "expected_out_cents": WHOLE,
    "received_before_cents": WHOLE,
    "paid_before_cents": WHOLE,
}
_PARTS = tuple(MONTH)[tuple(MONTH).index("given_cents") :]
_RECEIVED_PARTS = ("given_cents", "given_back_cents")
_PAID_PARTS = ("spent_cents", "bills_paid_cents", "tax_paid_cents", "paid_otherwise_cents")
_OTHER_PARTS = ("tips_cents", "owner_cents", "over_cents", "opening_cents")
_COMING_PARTS = ("due_cents", "bills_cents", "expected_in_cents", "expected_out_cents")


@dataclass(frozen=True)
class CashFilters:
    """Which months are shown: from the one of a day to that of another, both whole."""

    since: date | None = None
    until: date | None = None


@dataclass
class MoneyMonth:
    """What moved in a month, by what it was, in cents; what went out is above zero too."""

    parts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(_PARTS, 0))

    def total(self, parts: Iterable[str]) -> int:
        return sum(self.parts[part] for part in parts)

    @property
    def received_cents(self) -> int:
        return self.total(_RECEIVED_PARTS)

    @property
    def paid_cents(self) -> int:
        return self.total(_PAID_PARTS)

    @property
    def other_cents(self) -> int:
        return self.total(_OTHER_PARTS)

    @property
    def change_cents(self) -> int:
        """How much more there was at the end of the month than before it."""
        return self.received_cents - self.paid_cents + self.other_cents


@dataclass(frozen=True)
class MoneyBook:
    """Months of the books: what moved in each from one on, and when the books began.

    `has_opening` says that they began with money that was there; `there_before_cents` is what there
    was before the first of these months.
    """

    today: date
    began_on: date | None
    has_opening: bool
    first: date
    there_before_cents: int
    months: Mapping[date, MoneyMonth]

    @property
    def there_cents(self) -> int:
        """What there is by all entries."""
        moved = sum(month.change_cents for month in self.months.values())
        return self.there_before_cents + moved

    def of(self, first: date) -> MoneyMonth:
        return self.months.get(first, MoneyMonth())

    def before(self, first: date) -> dict[str, int | None]:
        """Return what was received and paid in the same month a year before, None if not known."""
        earlier = years_before(first, 1)
        is_known = self.is_known(earlier)
        return {
            "received_before_cents": self.of(earlier).received_cents if is_known else None,
            "paid_before_cents": self.of(earlier).paid_cents if is_known else None,
        }

    def is_known(self, first: date) -> bool:
        """Tell whether the books have all of a month: not that they began in, nor one not over."""
        has_begun = self.began_on is not None and self.began_on <= first
        return has_begun and month_end(first) < self.today


def money_book(today: date, since: date | None = None) -> MoneyBook:
    """Return what moved the money of the house, month by month, in four queries.

    What is asked for `since` a month has the year before it too, and the year before this month;
    where nothing is said, all months are read.
    """
    began_on, has_opening = _beginning()
    first = began_on or today
    if since is not None:
        first = max(first, years_before(min(since, today).replace(day=1), 1))
    first = first.replace(day=1)
    there_before = AccountMonth.objects.balances(MONEY, before=first)
    months: dict[date, MoneyMonth] = defaultdict(MoneyMonth)
    lines = EntryLine.objects.filter(entry__entered_on__gte=first).order_by()
    moving = lines.filter(account__in=MONEY).values("entry")
    sources = (
        lines.exclude(account__in=MONEY)
        .filter(entry__in=moving)
        .annotate(
            month=MonthOf("entry__entered_on"),
            is_back=Case(
                # What was given back and then not after all is less of what was given back.
                When(entry__payment__reverses__amount_cents__lt=0, then=True),
                When(entry__payment__amount_cents__lt=0, then=True),
                default=False,
                output_field=BooleanField(),
            ),
        )
        .values_list("month", "account", "entry__kind", "is_back")
        .annotate(Sum("amount_cents"))
    )
    for month, account, kind, is_back, cents in sources:
        part, sign = _part_of(account, kind, is_back=is_back)
        # A source is credited with what it brought: the money is the opposite of it.
        months[month].parts[part] -= sign * cents
    by_owner = (
        lines.filter(account=Account.OWNER)
        .exclude(entry__in=moving)
        .annotate(month=MonthOf("entry__entered_on"))
        .values_list("month")
        .annotate(Sum("amount_cents"))
    )
    for month, cents in by_owner:
        months[month].parts["by_owner_cents"] -= cents
    return MoneyBook(today, began_on, has_opening, first, sum(there_before.values()), months)


def _beginning() -> tuple[date | None, bool]:
    """Return the first day of the books, and whether they began with money that was there."""
    opening = EntryLine.objects.filter(account=Account.OPENING).order_by()
    money = EntryLine.objects.filter(entry=OuterRef("entry"), account__in=MONEY).order_by()
    entries = Entry.objects.order_by("entered_on", "pk")
    first = entries.values_list("entered_on", Exists(opening.filter(Exists(money)))).first()
    return first or (None, False)


def by_month(filters: CashFilters) -> pd.DataFrame:
    """Return one row for each month from the first of the books to this one, none left out.

    What is not known a year before is unknown.
    """
    today = timezone.localdate()
    book = money_book(today, filters.since)
    frame = frame_of(_rows(filters, book), MONTH)
    frame.attrs["answer"] = MoneyAnswer.of(book, to_come.read(today))
    return frame


def moved_by_month(filters: CashFilters) -> pd.DataFrame:
    """Return the same months, for what their money was from and for."""
    today = timezone.localdate()
    return frame_of(_rows(filters, money_book(today, filters.since)), MONTH)


def coming_by_month(filters: CashFilters) -> pd.DataFrame:
    """Return what is overdue, then a row for each month from this one on, then what has no day.

    Beside each month is what was received and paid in it a year before, where that is known.
    """
    today = timezone.localdate()
    book, coming = money_book(today, since=today), to_come.read(today)
    frame = frame_of(_coming_rows(filters, book, coming), COMING)
    frame.attrs["answer"] = MoneyAnswer.of(book, coming)
    return frame


@dataclass(frozen=True)
class MoneyAnswer:
    """What the page says first: this month, and what comes until the end of the next."""

    today: date
    began_on: date | None
    received_cents: int
    received_before_cents: int | None
    paid_cents: int
    there_cents: int
    until: date
    due_cents: int
    overdue_cents: int
    bills_cents: int
    bills_overdue_cents: int
    expected_cents: int
    no_day_cents: int
    has_opening: bool
    not_known: tuple[str, ...]

    @classmethod
    def of(cls, book: MoneyBook, coming: ToCome) -> MoneyAnswer:
        today = book.today
        first = today.replace(day=1)
        until = month_end(today, 1)
        sums = _coming_sums(coming, today, upto=until)
        # What is due later is to be paid too, but not by then.
        by_then = [sums[month] for month in sums if month not in (OVERDUE, NO_DAY)]
        overdue = sums.get(OVERDUE, dict.fromkeys(_COMING_PARTS, 0))
        now = book.of(first)
        return cls(
            today,
            book.began_on,
            now.received_cents,
            book.before(first)["received_before_cents"],
            now.paid_cents,
            book.there_cents,
            until,
            sum(each["due_cents"] for each in by_then),
            overdue["due_cents"],
            overdue["bills_cents"] + sum(each["bills_cents"] for each in by_then),
            overdue["bills_cents"],
            sum(each["expected_in_cents"] for each in by_then),
            sums[NO_DAY]["expected_in_cents"] if NO_DAY in sums else 0,
            book.has_opening,
            coming.not_known,
        )


def _rows(filters: CashFilters, book: MoneyBook) -> Iterable[tuple[object, ...]]:
    if book.began_on is None:
        return
    there = book.there_before_cents
    for month in months_between(book.first, max([book.today, *book.months])):
        moved = book.of(month)
        there += moved.change_cents
        if _is_asked(filters, month):
            row = dict.fromkeys(MONTH) | {
                "month": f"{month:%Y-%m}",
                "received_cents": moved.received_cents,
                "paid_cents": moved.paid_cents,
                "net_cents": moved.received_cents - moved.paid_cents,
                "other_cents": moved.other_cents,
                "there_cents": there,
                **moved.parts,
                **book.before(month),
            }
            yield tuple(row.values())


def _coming_rows(
    filters: CashFilters, book: MoneyBook, coming: ToCome
) -> Iterable[tuple[object, ...]]:
    today = book.today
    sums = _coming_sums(coming, today)
    days = [item.day for item in coming.items if item.day is not None]
    if OVERDUE in sums:
        yield _coming_row(OVERDUE, _("Overdue"), sums[OVERDUE])
    for month in months_between(today, max(days)) if days else ():
        if _is_asked(filters, month):
            key = f"{month:%Y-%m}"
            label = month_label(month)
            if is_unfinished(month, today):
                label = _("%(month)s (from today on)") % {"month": label}
            of_month = sums.get(key, dict.fromkeys(_COMING_PARTS, 0))
            yield _coming_row(key, label, {**of_month, **book.before(month)})
    if NO_DAY in sums:
        yield _coming_row(NO_DAY, _("Day not known"), sums[NO_DAY])


def _coming_row(key: str, label: str, figures: Mapping[str, int | None]) -> tuple[object, ...]:
    return tuple((dict.fromkeys(COMING) | {"month": key, "label": label, **figures}).values())


def _is_asked(filters: CashFilters, month: date) -> bool:
    since, until = filters.since, filters.until
    return (since is None or month >= since.replace(day=1)) and (until is None or month <= until)


def _coming_sums(
    coming: ToCome, today: date, upto: date | None = None
) -> dict[str, dict[str, int]]:
    """Add up what is to come by its month, what is overdue and what has no day apart."""
    sums: dict[str, dict[str, int]] = {}
    for item in coming.items:
        if upto is not None and item.day is not None and item.day > upto:
            continue
        if item.day is None:
            month = NO_DAY
        elif item.is_overdue(today):
            month = OVERDUE
        else:
            month = f"{item.day:%Y-%m}"
        of_month = sums.setdefault(month, dict.fromkeys(_COMING_PARTS, 0))
        of_month[item.column] += item.cents
    return sums


def _part_of(account: str, kind: str, *, is_back: bool) -> tuple[str, int]:
    """Return what the other side of moved money was, and −1 where the part counts what went out."""
    if account == Account.TIPS:
        return "tips_cents", 1
    if account == Account.OWNER:
        return "owner_cents", 1
    if account == Account.OPENING:
        return "opening_cents", 1
    if account == Account.EXPENSES and kind == Entry.Kind.ADJUSTMENT:
        # A count of cash found more or less than there should be.
        return "over_cents", 1
    if kind == Entry.Kind.BILL_PAYMENT:
        return "bills_paid_cents", -1
    if account in _RECEIVED:
        return "given_back_cents" if is_back else "given_cents", 1
    if account == Account.SALES_TAX:
        return "tax_paid_cents", -1
    if account in (Account.EXPENSES, Account.PURCHASE_TAX):
        return "spent_cents", -1
    return "paid_otherwise_cents", -1
