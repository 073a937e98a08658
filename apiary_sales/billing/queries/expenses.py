"""What was spent: the list of expenses, and the book's expenses by category and month."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q, QuerySet, Sum
from django.utils.translation import gettext as _

from apiary_sales.billing import recurring as rhythm_days
from apiary_sales.billing.models import (
    EntryLine,
    Expense,
    ExpenseCategory,
    RecurringExpense,
)
from inventory.shared.days import months_between
from inventory.shared.money import amount
from inventory.shared.month_of import MonthOf


def expenses(
    *,
    text: str = "",
    category: str = "",
    since: date | None = None,
    until: date | None = None,
) -> QuerySet[Expense]:
    """Return expenses by their true day, the newest first; what was undone too, marked so."""
    found = Expense.objects.select_related(
        "entry", "undone_entry", "season_expense", "recurring", "entered_by"
    )
    if category:
        found = found.filter(category=category)
    if text:
        found = found.filter(Q(payee__icontains=text) | Q(note__icontains=text))
    if since:
        found = found.filter(spent_on__gte=since)
    if until:
        found = found.filter(spent_on__lte=until)
    return found.order_by("-spent_on", "-id")


def total_cents(found: QuerySet[Expense]) -> int:
    """Return what a list comes to; expenses that were undone do not count."""
    cents: int = found.filter(undone_entry=None).aggregate(cents=Sum("amount_cents", default=0))[
        "cents"
    ]
    return cents


def expense_rows(found: Iterable[Expense]) -> Iterator[list[Any]]:
    """Yield a heading and a row for each expense, for a spreadsheet."""
    yield [
        _("Day"),
        _("Counts on"),
        _("Paid to"),
        _("What for"),
        _("Paid by"),
        _("Amount"),
        _("Tax that you get back"),
        _("Season"),
        _("Note"),
        _("Undone"),
    ]
    for expense in found:
        yield [
            expense.spent_on,
            expense.entry.entered_on,
            expense.payee,
            str(expense.get_category_display()),
            str(expense.get_paid_by_display()),
            amount(expense.amount_cents),
            amount(expense.tax_cents),
            expense.season_expense.season if expense.season_expense else None,
            expense.note,
            expense.undone_entry.happened_on if expense.undone_entry else None,
        ]


@dataclass(frozen=True)
class CategoryRow:
    """What one category came to in each month, in cents."""

    label: str
    cents: tuple[int, ...]

    @property
    def total_cents(self) -> int:
        return sum(self.cents)


@dataclass(frozen=True)
class ByMonth:
    """Expenses of the book by category and month, of bills too, without tax that comes back."""

    months: tuple[date, ...]
    rows: tuple[CategoryRow, ...]

    @property
    def sums(self) -> tuple[int, ...]:
        return tuple(
            sum(row.cents[index] for row in self.rows) for index in range(len(self.months))
        )

    @property
    def total_cents(self) -> int:
        return sum(self.sums)


def by_month(since: date, until: date) -> ByMonth:
    """Return what the book has as expenses from one day to another, by the day they count on."""
    months = months_between(since, max(since, until))
    place = {month: index for index, month in enumerate(months)}
    sums: dict[str, list[int]] = {}
    found = (
        EntryLine.objects.filter(
            account=EntryLine.Account.EXPENSES,
            entry__entered_on__gte=since,
            entry__entered_on__lte=until,
        )
        .annotate(month=MonthOf("entry__entered_on"))
        .values("detail", "month")
        .order_by()
        .annotate(cents=Sum("amount_cents"))
    )
    for row in found:
        sums.setdefault(row["detail"], [0] * len(months))[place[row["month"]]] += row["cents"]
    order = [*ExpenseCategory.values, *sorted(set(sums) - set(ExpenseCategory.values))]
    return ByMonth(
        tuple(months),
        tuple(
            CategoryRow(label_of(detail), tuple(sums[detail])) for detail in order if detail in sums
        ),
    )


def by_month_rows(found: ByMonth) -> Iterator[list[Any]]:
    """Yield a heading, a row for each category and the sums, for a spreadsheet."""
    yield [_("What for"), *(f"{month:%Y-%m}" for month in found.months), _("Total")]
    for row in found.rows:
        yield [row.label, *map(amount, row.cents), amount(row.total_cents)]
    yield [_("Total"), *map(amount, found.sums), amount(found.total_cents)]


def label_of(detail: str) -> str:
    """Say what an expense of the book is for."""
    if detail in ExpenseCategory.values:
        return str(ExpenseCategory(detail).label)
    if detail == "price_difference":
        return _("deliveries billed beyond their cost")
    return detail or _("other")


@dataclass(frozen=True)
class ExpenseProposal:
    """The next one of an expense that comes again, and how many wait with it."""

    recurring: RecurringExpense
    due_on: date
    waiting: int


def proposals(on: date) -> list[ExpenseProposal]:
    """Return what is due up to a day and neither entered nor skipped, the oldest first."""
    found = RecurringExpense.objects.filter(is_active=True, next_on__lte=on)
    return [
        ExpenseProposal(
            each,
            each.next_on,
            rhythm_days.days_due(each.first_on, each.rhythm, each.next_on, on),
        )
        for each in found.order_by("next_on", "id")
    ]
