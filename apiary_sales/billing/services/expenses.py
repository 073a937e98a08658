"""Expenses: money spent at once, entered, undone, and proposed again."""

from __future__ import annotations

from datetime import date
from typing import Any, Required, TypedDict, Unpack

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing import recurring as rhythm_days
from apiary_sales.billing.models import (
    Entry,
    Expense,
    ExpenseCategory,
    RecurringExpense,
    Rhythm,
    SkippedExpense,
)
from apiary_sales.billing.services import book, money_out, season_costs, undoing
from apiary_sales.billing.services.book import Account, BookLine
from inventory.shared import checks, keys
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.models import Attachment
from inventory.shared.people import Person
from inventory.shared.services import files
from inventory.shared.services.repeats import refuse_repeat


class RecurringDetails(TypedDict, total=False):
    """An expense that comes again; `for_season` puts each one into the season of its year."""

    payee: Required[str]
    category: Required[str]
    amount_cents: Required[int]
    paid_by: Required[str]
    rhythm: Required[str]
    next_on: Required[date]
    tax_cents: int
    note: str
    for_season: bool
    is_active: bool


@transaction.atomic
def enter(
    *,
    payee: str,
    category: str,
    amount_cents: int,
    paid_by: str,
    entered_by: Person,
    key: str,
    spent_on: date | None = None,
    tax_cents: int = 0,
    note: str = "",
    season: int | None = None,
    recurring: RecurringExpense | None = None,
    file: UploadedFile[Any] | None = None,
) -> Expense:
    """Enter money that was spent, tax included, and return the expense.

    `tax_cents` is what of it the house gets back. With a `season` the rest is an expense of that
    season's honey too. As the next one of `recurring`, it is proposed again on its next day. The
    `file` is its receipt, and attached to it.
    Raises `BadValue` (or several), `NotAllowedNow`, `AlreadyRecorded`.
    """
    spent_on = spent_on or timezone.localdate()
    if recurring is not None:
        recurring = RecurringExpense.objects.select_for_update(no_key=True).get(pk=recurring.pk)
    refuse_repeat(Expense, key)
    problems = Problems()
    _check(problems, payee, category, amount_cents, tax_cents, paid_by)
    checks.check_day(problems, "spent_on", spent_on)
    season_costs.check(problems, "season", season, category)
    problems.raise_any()
    net_cents = amount_cents - tax_cents
    entry = book.enter(
        kind=Entry.Kind.EXPENSE,
        lines=[
            BookLine(Account.EXPENSES, net_cents, detail=category),
            BookLine(Account.PURCHASE_TAX, tax_cents),
            BookLine(money_out.account_of(paid_by), -amount_cents),
        ],
        happened_on=spent_on,
    )
    expense = Expense(
        spent_on=spent_on,
        payee=" ".join(payee.split()),
        category=category,
        paid_by=paid_by,
        amount_cents=amount_cents,
        tax_cents=tax_cents,
        note=note.strip(),
        season_expense=season_costs.feed(
            season=season,
            category=category,
            amount_cents=net_cents,
            note=", ".join(filter(None, [" ".join(payee.split()), note.strip()])),
            key=keys.part(key, "season"),
        ),
        recurring=recurring,
        entry=entry,
        entered_by=entered_by,
        idempotency_key=key,
    )
    checks.save_checked(expense)
    if file is not None:
        files.attach(
            thing=expense,
            file=file,
            kind=Attachment.Kind.OTHER,
            added_by=entered_by,
            key=keys.part(key, "file"),
        )
    if recurring is not None:
        _advance(recurring)
    return expense


@transaction.atomic
def undo(
    *,
    expense: Expense,
    undone_by: Person,
    key: str,
    reason: str,
    undone_on: date | None = None,
) -> Expense:
    """Undo an expense by the opposite entry, and take it off its season.

    The season's honey keeps its cost until the season is spread again. Raises `CannotReverse` for
    one that was undone, `BadValue`, `AlreadyRecorded`.
    """
    found = Expense.objects.select_for_update(of=("self",), no_key=True)
    expense = found.select_related("entry", "season_expense").get(pk=expense.pk)
    day = undoing.day_of(undone_on)
    undoing.check(expense, key=key, reason=reason, undone_on=day)
    undoing.write(expense, undone_by=undone_by, key=key, reason=reason, undone_on=day)
    fed, expense.season_expense = expense.season_expense, None
    expense.save()
    season_costs.take_out(fed)
    return expense


@transaction.atomic
def add_recurring(*, key: str, **details: Unpack[RecurringDetails]) -> RecurringExpense:
    """Keep an expense that comes again, from its next day on; raises as `change_recurring`."""
    refuse_repeat(RecurringExpense, key)
    return _save(RecurringExpense(idempotency_key=key), **details)


@transaction.atomic
def change_recurring(
    recurring: RecurringExpense, **details: Unpack[RecurringDetails]
) -> RecurringExpense:
    """Change an expense that comes again; what was entered stays as it is.

    Raises `BadValue` (or several) for figures that can't be.
    """
    found = RecurringExpense.objects.select_for_update(no_key=True).get(pk=recurring.pk)
    return _save(found, **details)


@transaction.atomic
def enter_next(
    *, recurring: RecurringExpense, due_on: date, entered_by: Person, key: str
) -> Expense:
    """Enter the next one of an expense that comes again, as it was proposed for a day.

    Raises `NotAllowedNow` for another day than the next, or one that is still to come,
    `AlreadyRecorded`.
    """
    recurring = RecurringExpense.objects.select_for_update(no_key=True).get(pk=recurring.pk)
    refuse_repeat(Expense, key)
    _check_next(recurring, due_on)
    return enter(
        payee=recurring.payee,
        category=recurring.category,
        amount_cents=recurring.amount_cents,
        tax_cents=recurring.tax_cents,
        paid_by=recurring.paid_by,
        note=recurring.note,
        spent_on=due_on,
        season=due_on.year if recurring.for_season else None,
        recurring=recurring,
        entered_by=entered_by,
        key=key,
    )


@transaction.atomic
def skip_next(
    *, recurring: RecurringExpense, due_on: date, skipped_by: Person, key: str
) -> SkippedExpense:
    """Say that an expense did not come this time; the next one is proposed on its day.

    Raises as `enter_next`.
    """
    recurring = RecurringExpense.objects.select_for_update(no_key=True).get(pk=recurring.pk)
    refuse_repeat(SkippedExpense, key)
    _check_next(recurring, due_on)
    skipped = SkippedExpense(
        recurring=recurring, due_on=due_on, skipped_by=skipped_by, idempotency_key=key
    )
    checks.save_checked(skipped)
    _advance(recurring)
    return skipped


def _check(
    problems: Problems,
    payee: str,
    category: str,
    amount_cents: int,
    tax_cents: int,
    paid_by: str,
) -> None:
    if not payee.strip():
        problems.add("payee", _("Enter who was paid."))
    if category not in ExpenseCategory.values:
        problems.add("category", _("Choose what it was for."))
    money_out.check_amount(problems, "amount_cents", amount_cents)
    money_out.check_tax(problems, "tax_cents", tax_cents, amount_cents)
    money_out.check_paid_by(problems, paid_by)


def _check_next(recurring: RecurringExpense, due_on: date) -> None:
    if due_on != recurring.next_on or not recurring.is_active:
        raise NotAllowedNow(
            _("The payment to %(payee)s of %(day)s was entered or skipped already.")
            % {"payee": recurring.payee, "day": date_format(due_on)}
        )
    if due_on > timezone.localdate():
        raise NotAllowedNow(
            _("The payment to %(payee)s is due on %(day)s. Enter it on that day.")
            % {"payee": recurring.payee, "day": date_format(due_on)}
        )


def _advance(recurring: RecurringExpense) -> None:
    recurring.next_on = rhythm_days.next_day(
        recurring.first_on, recurring.rhythm, recurring.next_on
    )
    recurring.save(update_fields=["next_on"])


def _save(
    recurring: RecurringExpense,
    *,
    payee: str,
    category: str,
    amount_cents: int,
    paid_by: str,
    rhythm: str,
    next_on: date,
    tax_cents: int = 0,
    note: str = "",
    for_season: bool = False,
    is_active: bool = True,
) -> RecurringExpense:
    problems = Problems()
    _check(problems, payee, category, amount_cents, tax_cents, paid_by)
    if rhythm not in Rhythm.values:
        problems.add("rhythm", _("Choose how often it comes."))
    if abs(next_on - timezone.localdate()) > checks.YEARS_BACK_MAX:
        problems.add("next_on", _("The day is more than five years away. Check the year."))
    if for_season and category not in ExpenseCategory.of_a_season():
        season_costs.check(problems, "for_season", next_on.year, category)
    problems.raise_any()
    if (recurring.rhythm, recurring.next_on) != (rhythm, next_on):
        # The rhythm is counted from the day that was entered.
        recurring.first_on = next_on
    recurring.payee = " ".join(payee.split())
    recurring.category, recurring.paid_by = category, paid_by
    recurring.amount_cents, recurring.tax_cents = amount_cents, tax_cents
    recurring.rhythm, recurring.next_on = rhythm, next_on
    recurring.note, recurring.for_season = note.strip(), for_season
    recurring.is_active = is_active
    checks.save_checked(recurring)
    return recurring
