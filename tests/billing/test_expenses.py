"""Expenses: entered, undone, by category and month, and those that come again."""

from datetime import date
from decimal import Decimal

import pytest

from apiary_sales.billing.models import Expense, SkippedExpense
from apiary_sales.billing.queries import expenses as queries
from apiary_sales.billing.recurring import days_due, next_day
from apiary_sales.billing.services import expenses
from apiary_sales.billing.services.bills import LineBilled
from apiary_sales.pricing.models import SeasonExpense
from apiary_sales.pricing.services import seasons
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    CannotReverse,
    NotAllowedNow,
    SeveralProblems,
)
from tests.billing.buying_room import TODAY, Room, book_faults, lines_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def room(db):
    return Room()


def test_an_expense_is_in_the_book_with_its_category_and_without_tax_that_comes_back(room):
    expense = room.spend(12_100, tax_cents=2_100, paid_by="owner")

    assert lines_of(expense.entry) == [
        ("expenses", "fuel", 10_000),
        ("owner", "", -12_100),
        ("purchase_tax", "", 2_100),
    ]
    assert book_faults() == []


def test_an_expense_is_refused_field_by_field(room):
    with pytest.raises(SeveralProblems) as refused:
        room.spend(0, payee=" ", category="dog", paid_by="shells", spent_on=date(2026, 9, 11))

    assert {problem.parameter for problem in refused.value.problems} == {
        "payee",
        "category",
        "amount_cents",
        "paid_by",
        "spent_on",
    }
    with pytest.raises(BadValue, match="must be less"):
        room.spend(100, tax_cents=100)
    assert not Expense.objects.exists()


def test_an_expense_sent_twice_is_entered_once(room):
    room.spend(key="e")

    with pytest.raises(AlreadyRecorded):
        room.spend(key="e")

    assert Expense.objects.count() == 1


def test_an_expense_feeds_its_season_once_and_leaves_it_when_undone(room):
    expense = room.spend(6_000, season=2026, note="Truck")

    fed = SeasonExpense.objects.get()
    assert (fed.season, fed.category, fed.amount_cents, fed.note) == (
        2026,
        "fuel",
        6_000,
        "Ridge Fuel, Truck",
    )
    expenses.undo(expense=expense, undone_by=room.person, key="u", reason="Entered twice")
    assert not SeasonExpense.objects.exists()
    with pytest.raises(CannotReverse):
        expenses.undo(expense=expense, undone_by=room.person, key="u2", reason="Again")
    assert book_faults() == []


def test_a_season_may_drop_an_expense_that_stays_in_the_book(room):
    expense = room.spend(season=2026)

    seasons.remove_expense(SeasonExpense.objects.get())
    expense.refresh_from_db()

    assert expense.season_expense is None
    expenses.undo(expense=expense, undone_by=room.person, key="u", reason="Not ours")
    assert book_faults() == []


def test_categories_of_a_season_have_the_names_of_the_season():
    from apiary_sales.billing.models import ExpenseCategory

    assert ExpenseCategory.of_a_season() == set(SeasonExpense.Category.values)
    for value in SeasonExpense.Category.values:
        assert ExpenseCategory(value).label == SeasonExpense.Category(value).label


def test_the_table_by_month_is_what_the_book_has_bills_included(room):
    room.spend(5_000, spent_on=date(2026, 7, 2))
    room.spend(2_000, spent_on=date(2026, 9, 1))
    undone = room.spend(900, category="office")
    expenses.undo(expense=undone, undone_by=room.person, key="u", reason="Twice")
    room.bill(LineBilled(44_000, room.delivery()), LineBilled(700, category="freight"))

    found = queries.by_month(date(2026, 7, 1), TODAY)

    assert found.months == (date(2026, 7, 1), date(2026, 8, 1), date(2026, 9, 1))
    assert [(row.label, row.cents) for row in found.rows] == [
        ("fuel and truck", (5_000, 0, 2_000)),
        ("freight", (0, 0, 700)),
        ("office", (0, 0, 0)),
        ("deliveries billed beyond their cost", (0, 0, 2_000)),
    ]
    assert (found.sums, found.total_cents) == ((5_000, 0, 4_700), 9_700)
    assert list(queries.by_month_rows(found))[-1] == [
        "Total",
        Decimal("50.00"),
        Decimal("0.00"),
        Decimal("47.00"),
        Decimal("97.00"),
    ]


def test_the_list_leaves_what_was_undone_out_of_its_total(room):
    room.spend(5_000)
    undone = room.spend(900)
    expenses.undo(expense=undone, undone_by=room.person, key="u", reason="Twice")

    found = queries.expenses(text="ridge", since=TODAY, until=TODAY)

    assert (len(found), queries.total_cents(found)) == (2, 5_000)
    assert [row[9] for row in queries.expense_rows(found)] == ["Undone", TODAY, None]


@pytest.mark.parametrize(
    ("first", "rhythm", "after", "following"),
    [
        ((2026, 1, 31), "month", (2026, 1, 31), (2026, 2, 28)),
        ((2026, 1, 31), "month", (2026, 2, 28), (2026, 3, 31)),
        ((2028, 1, 31), "month", (2028, 1, 31), (2028, 2, 29)),
        ((2026, 11, 30), "quarter", (2026, 11, 30), (2027, 2, 28)),
        ((2028, 2, 29), "year", (2028, 2, 29), (2029, 2, 28)),
        ((2028, 2, 29), "year", (2031, 2, 28), (2032, 2, 29)),
        ((2026, 9, 7), "week", (2026, 9, 7), (2026, 9, 14)),
        ((2026, 9, 7), "week", (2026, 9, 13), (2026, 9, 14)),
        ((2026, 9, 7), "week", (2026, 9, 14), (2026, 9, 21)),
    ],
)
def test_the_next_day_of_a_rhythm(first, rhythm, after, following):
    assert next_day(date(*first), rhythm, date(*after)) == date(*following)


def test_days_due_are_counted_up_to_today():
    assert days_due(date(2026, 6, 30), "month", date(2026, 6, 30), TODAY) == 3
    assert days_due(date(2026, 6, 30), "month", date(2026, 9, 30), TODAY) == 0


def test_an_expense_that_comes_again_is_proposed_and_entered_with_one_click(room):
    rent = room.monthly()
    [proposed] = queries.proposals(TODAY)
    assert (proposed.due_on, proposed.waiting) == (date(2026, 6, 30), 3)

    made = expenses.enter_next(
        recurring=rent, due_on=proposed.due_on, entered_by=room.person, key="r1"
    )

    assert (made.spent_on, made.amount_cents, made.payee, made.recurring) == (
        date(2026, 6, 30),
        30_000,
        "Ridge Hall",
        rent,
    )
    [proposed] = queries.proposals(TODAY)
    assert (proposed.due_on, proposed.waiting) == (date(2026, 7, 30), 2)
    with pytest.raises(AlreadyRecorded):
        expenses.enter_next(
            recurring=rent, due_on=date(2026, 6, 30), entered_by=room.person, key="r1"
        )
    with pytest.raises(NotAllowedNow, match="entered or skipped already"):
        expenses.enter_next(
            recurring=rent, due_on=date(2026, 6, 30), entered_by=room.person, key="r2"
        )
    assert Expense.objects.count() == 1
    assert book_faults() == []


def test_an_expense_that_did_not_come_is_skipped(room):
    rent = room.monthly(next_on=date(2026, 8, 15))

    expenses.skip_next(recurring=rent, due_on=date(2026, 8, 15), skipped_by=room.person, key="s")

    assert SkippedExpense.objects.get().due_on == date(2026, 8, 15)
    assert queries.proposals(TODAY) == []
    with pytest.raises(NotAllowedNow, match="Enter it on that day"):
        expenses.enter_next(
            recurring=rent, due_on=date(2026, 9, 15), entered_by=room.person, key="r"
        )
    assert not Expense.objects.exists()


def test_one_with_another_amount_counts_as_the_next_one(room):
    rent = room.monthly(next_on=TODAY)

    room.spend(31_000, category="rent", recurring=rent)

    rent.refresh_from_db()
    assert rent.next_on == date(2026, 10, 10)


def test_an_expense_that_comes_again_feeds_the_season_of_its_year(room):
    yards = room.monthly(category="yards", rhythm="year", next_on=TODAY, for_season=True)

    expenses.enter_next(recurring=yards, due_on=TODAY, entered_by=room.person, key="y")

    assert SeasonExpense.objects.get().season == 2026
    with pytest.raises(BadValue) as refused:
        room.monthly(for_season=True)
    assert refused.value.parameter == "for_season"


def test_a_new_day_begins_the_rhythm_anew(room):
    rent = room.monthly()

    changed = expenses.change_recurring(
        rent,
        payee="Ridge Hall",
        category="rent",
        amount_cents=32_000,
        paid_by="transfer",
        rhythm="month",
        next_on=date(2026, 9, 1),
    )

    assert (changed.first_on, changed.amount_cents) == (date(2026, 9, 1), 32_000)
    assert next_day(changed.first_on, changed.rhythm, changed.next_on) == date(2026, 10, 1)
