"""A day at a stand: float, cash in and out, the count at the end, and the book with it."""

from datetime import timedelta
from functools import partial

import pytest
import time_machine
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apiary_sales.billing import denominations, drawers
from apiary_sales.billing.models import (
    Entry,
    EntryLine,
    Expense,
    StandCash,
    StandDay,
    StandDayClose,
    StandLateCash,
)
from apiary_sales.billing.queries import books, purchase_books
from apiary_sales.billing.queries import stand_days as stand_day_queries
from apiary_sales.billing.queries.cash_book import cash_book
from apiary_sales.billing.queries.journal import Journal, JournalFilters
from apiary_sales.billing.services import (
    book,
    cash_counts,
    stand,
    stand_days,
    stand_returns,
)
from apiary_sales.billing.services.stand_money import PaymentMade
from apiary_sales.billing.services.stand_returns import PiecesBack
from apiary_sales.billing.takings import takings
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    CannotReverse,
    NotAllowedNow,
    SeveralProblems,
)
from tests import builders, data_layer
from tests.billing.conftest import TODAY
from tests.billing.stand_drawer import at, sell_jars

pytestmark = pytest.mark.django_db

PAYEE = {"payee": "Corner Hardware", "category": "supplies"}


def cash_there():
    return book.balance_cents(EntryLine.Account.CASH, TODAY)


def no_faults():
    return [*books.faults(), *purchase_books.faults()] == []


@pytest.fixture
def seller(house):
    return builders.person("stand")


@pytest.fixture
def sell(stand_place, pounds):
    return partial(sell_jars, pounds, place=stand_place)


@pytest.fixture
def stand_place(request):
    return request.getfixturevalue("stand")


@pytest.fixture
def opened(stand_place, seller):
    with time_machine.travel(at(8), tick=False):
        return stand_days.open_day(
            place=stand_place, float_cents=10_000, opened_by=seller, key="open"
        )


def closed(stand_day, seller, counted_cents, hour=17, **more):
    with time_machine.travel(at(hour), tick=False):
        return stand_days.close(
            stand_day=stand_day,
            closed_by=seller,
            counted_cents=counted_cents,
            **{"key": builders.new_key(), "note": "", **more},
        )


def moved(stand_day, kind, cents, seller, **more):
    return stand_days.move_cash(
        stand_day=stand_day,
        kind=kind,
        cents=cents,
        moved_by=seller,
        key=builders.new_key(),
        **more,
    )


# ------------------------------------------------------------------ opening


def test_a_float_is_a_sum_or_coins_and_notes(stand_place, seller):
    # 20 quarters, 10 ones and 4 fives: 5.00 + 10.00 + 20.00
    made = stand_days.open_day(
        place=stand_place,
        float_pieces={"coin-25": 20, "note-100": 10, "note-500": 4, "note-2000": 0},
        opened_by=seller,
        key="k",
    )

    assert made.float_cents == 3_500
    assert made.float_pieces == {"coin-25": 20, "note-100": 10, "note-500": 4}
    assert Entry.objects.count() == 0


def test_a_place_has_one_drawer_a_day(opened, stand_place, seller):
    with pytest.raises(NotAllowedNow, match="The day was opened already: Stand, Sep 10, 2026"):
        stand_days.open_day(place=stand_place, float_cents=0, opened_by=seller, key="again")
    with pytest.raises(AlreadyRecorded):
        stand_days.open_day(place=stand_place, float_cents=0, opened_by=seller, key="open")

    assert StandDay.objects.count() == 1


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        ({}, "Enter the cash that is there; 0 where there is none."),
        ({"float_cents": -1}, "Enter the cash that is there, from 0 to a million."),
        ({"float_pieces": {"note-300": 1}}, "There is no coin or note note-300 here."),
        ({"float_pieces": {"note-100": -1}}, "Count from 0 to 10,000 of each coin and note."),
        (
            {"float_cents": 100, "float_pieces": {"note-100": 1}},
            "Enter coins and notes, or a sum, but not both.",
        ),
        ({"float_cents": 0, "day": TODAY + timedelta(days=1)}, "This day is in the future"),
    ],
)
def test_a_float_that_cannot_be_is_refused(stand_place, seller, figures, said):
    with pytest.raises((BadValue, SeveralProblems), match=said):
        stand_days.open_day(place=stand_place, opened_by=seller, key="k", **figures)

    assert not StandDay.objects.exists()


def test_who_sells_at_the_stand_opens_no_other_place(shelf, seller):
    with pytest.raises(BadValue, match="Packing shelf is not a stand or van"):
        stand_days.open_day(place=shelf, float_cents=0, opened_by=seller, key="k")


# ------------------------------------------------------------------ during the day


def test_only_what_leaves_the_house_is_in_the_book(opened, seller, sell):
    sell(4)
    moved(opened, "change", 2_000, seller)
    moved(opened, "to_box", 1_500, seller)
    spent = moved(opened, "spent", 700, seller, text="String", **PAYEE)

    # 4 × 8.00 sold, 7.00 spent; the change and the box are cash of the house all the time
    assert cash_there() == 3_200 - 700
    assert drawers.drawer_of(opened).expected_cents == 10_000 + 3_200 + 2_000 - 1_500 - 700
    assert (spent.expense.payee, spent.expense.spent_on) == ("Corner Hardware", TODAY)
    assert no_faults()


def test_tips_count_until_they_are_taken_out(opened, seller, sell):
    sell(1, on_top_cents=200, payments=[PaymentMade("cash", 1_000)])
    sell(1, method="card")
    before = drawers.drawer_of(opened)
    moved(opened, "tips", 200, seller)

    assert (before.sold_cents, before.on_top_cents, before.expected_cents) == (800, 200, 11_000)
    assert drawers.drawer_of(opened).expected_cents == 10_800
    assert cash_there() == 800
    assert no_faults()


@pytest.mark.parametrize(
    ("kind", "more", "said"),
    [
        ("other_out", {}, "Say what the cash was for."),
        ("spent", {"payee": "", "category": "supplies"}, "Enter who was paid."),
        ("spent", {"payee": "Ada", "category": ""}, "Choose what it was for."),
        ("lost", {}, "Choose what happened to the cash."),
    ],
)
def test_cash_in_and_out_has_a_reason(opened, seller, kind, more, said):
    with pytest.raises((BadValue, SeveralProblems), match=said):
        moved(opened, kind, 100, seller, **more)

    assert not StandCash.objects.exists()
    assert not Expense.objects.exists()


def test_what_was_spent_is_undone_with_its_expense(opened, seller):
    spent = moved(opened, "spent", 700, seller, **PAYEE)

    stand_days.undo_cash(stand_cash=spent, undone_by=seller, reason="Paid by card")

    assert Expense.objects.get().is_undone
    assert drawers.drawer_of(opened).expected_cents == 10_000
    assert no_faults()
    with pytest.raises(CannotReverse):
        stand_days.undo_cash(stand_cash=spent, undone_by=seller, reason="Again")


# ------------------------------------------------------------------ closing


@pytest.mark.parametrize("over", [-250, 0, 3])
def test_a_close_keeps_its_figures_and_posts_what_is_over_or_short(opened, seller, sell, over):
    sell(2)
    expected = 10_000 + 1_600

    made = closed(opened, seller, expected + over, note="Counted twice" if over else "")

    assert (made.expected_cents, made.difference_cents) == (expected, over)
    assert (made.sold_cents, made.takings["count"], made.takings["cents"]) == (1_600, 1, 1_600)
    assert cash_there() == 1_600 + over
    assert no_faults()


def test_a_difference_needs_a_note(opened, seller):
    with pytest.raises(BadValue, match=r"^\$1.00 is missing. Count again") as short:
        closed(opened, seller, 9_900)
    with pytest.raises(BadValue, match=r"^\$1.00 more is there than expected"):
        closed(opened, seller, 10_100)

    assert short.value.parameter == "note"
    assert not StandDayClose.objects.exists()


def test_a_closed_day_takes_no_more_cash(opened, seller):
    spent = moved(opened, "spent", 700, seller, **PAYEE)
    closed(opened, seller, 9_300)

    with pytest.raises(NotAllowedNow, match="The day is closed: Stand, Sep 10, 2026"):
        moved(opened, "change", 100, seller)
    with pytest.raises(NotAllowedNow):
        stand_days.undo_cash(stand_cash=spent, undone_by=seller, reason="Wrong")
    with pytest.raises(NotAllowedNow):
        closed(opened, seller, 9_300)


def test_a_close_is_undone_and_the_day_counted_again(opened, seller, owner):
    made = closed(opened, seller, 9_900, note="No idea")

    stand_days.undo_close(stand_day_close=made, undone_by=owner, reason="A note stuck")

    assert cash_there() == 0
    again = closed(opened, seller, 10_000, hour=18)
    assert (again.difference_cents, again.entry) == (0, None)
    assert StandDayClose.objects.count() == 2
    assert no_faults()
    with pytest.raises(CannotReverse):
        stand_days.undo_close(stand_day_close=made, undone_by=owner, reason="Again")


def test_the_books_name_what_was_over_or_short(opened, seller, owner):
    made = closed(opened, seller, 9_900, note="No idea")
    stand_days.undo_close(stand_day_close=made, undone_by=owner, reason="A note stuck")

    with time_machine.travel(at(20), tick=False):
        journal = Journal(JournalFilters(account="cash")).lines()
    names = ["Cash over or short, Stand, Sep 10, 2026"] * 2
    assert [line.text for line in cash_book(TODAY, TODAY).lines] == [
        names[0],
        f"{names[1]}, undone",
    ]
    assert {(line.document, line.who) for line in journal} == {
        (names[0], "Stand"),
        (f"{names[1]} undone", "Owner"),
    }


# ------------------------------------------------------------------ what came in afterwards


def test_a_sale_that_comes_in_after_the_close_explains_what_was_over(opened, seller, sell):
    # 8.00 of a phone without signal were in the drawer: over, until the sale comes in.
    made = closed(opened, seller, 10_800, note="A sale is missing")
    assert cash_there() == 800

    with time_machine.travel(at(19), tick=False):
        sell(1, sold_at=at(15))
        sell(1, sold_at=at(15), method="card")

    made.refresh_from_db()
    shown = stand_day_queries.shown(opened)
    assert (made.expected_cents, made.difference_cents, made.takings["count"]) == (10_000, 800, 0)
    assert (shown.afterwards.count, shown.afterwards.cents) == (2, 1_600)
    assert (shown.afterwards.late_cash_cents, shown.afterwards.difference_cents) == (800, 0)
    assert cash_there() == 800
    assert no_faults()


def test_cash_of_a_sale_after_the_count_is_no_late_cash(opened, seller, sell):
    closed(opened, seller, 10_000)

    with time_machine.travel(at(18), tick=False):
        sell(1)

    afterwards = stand_day_queries.shown(opened).afterwards
    assert (afterwards.count, afterwards.late_count, afterwards.difference_cents) == (1, 0, 0)
    assert not StandLateCash.objects.exists()
    assert cash_there() == 800


def test_a_sale_that_is_corrected_after_the_close_counts_with_its_right_amount(
    opened, seller, sell
):
    wrong = sell(3)
    # One jar was sold, 8.00; three were typed, 24.00, and 16.00 is missing.
    closed(opened, seller, 10_800, note="Something was typed wrong")
    assert cash_there() == 800

    with time_machine.travel(at(19), tick=False):
        sell(1, sold_at=at(12), corrects=wrong)

    assert stand_day_queries.shown(opened).afterwards.difference_cents == 0
    assert cash_there() == 800
    assert no_faults()


def test_a_reopened_day_counts_what_came_in_late(opened, seller, sell, owner):
    made = closed(opened, seller, 10_800, note="A sale is missing")
    with time_machine.travel(at(19), tick=False):
        sell(1, sold_at=at(15))

    stand_days.undo_close(stand_day_close=made, undone_by=owner, reason="A sale came")
    again = closed(opened, seller, 10_800, hour=20)

    assert again.difference_cents == 0
    assert cash_there() == 800
    assert no_faults()


def test_cash_given_back_counts_on_its_own_day(opened, seller, sell, owner):
    sale = sell(2)
    before = drawers.drawer_of(opened)
    stand.take_back(receipt=sale.receipt, taken_by=owner, key="back", reason="Broken lid")

    assert before.expected_cents == 11_600
    assert drawers.drawer_of(opened).expected_cents == 10_000


def test_takings_say_what_was_sold_and_not_paid(stand_place, sell, owner):
    sell(3, payments=[PaymentMade("cash", 1_000)], has_happened=True)

    found = takings(drawers.sales_of(stand_place, TODAY))

    assert (found.cents, found.unpaid_cents) == (2_400, 1_400)
    assert sum(row.cents for row in found.by_method) == 1_000


def test_cash_for_a_part_that_came_back_leaves_the_drawer(opened, stand_place, sell, owner):
    receipt = sell(3).receipt

    stand_returns.give_back(
        receipt=receipt,
        lines=[PiecesBack(receipt.lines.get(), 1)],
        given_by=owner,
        key="part",
        reason="One was cracked",
    )

    assert drawers.drawer_of(opened).expected_cents == 10_000 + 2_400 - 800
    found = takings(drawers.sales_of(stand_place, TODAY))
    assert (found.cents, found.returned_cents) == (2_400, 800)
    assert sum(row.cents for row in found.by_method) == 1_600


@pytest.mark.usefixtures("without_triggers")
def test_a_late_sale_that_is_not_taken_off_is_a_fault(opened, seller, sell):
    closed(opened, seller, 10_800, note="A sale is missing")
    with time_machine.travel(at(19), tick=False):
        sale = sell(1, sold_at=at(15))
    StandLateCash.objects.all().delete()

    assert list(books.faults()) == [
        f"The cash of {sale.receipt} came in after its stand was closed, and is in the book twice."
    ]


# ------------------------------------------------------------------ the count of all cash


def test_a_count_of_all_cash_finds_what_a_stand_posted(opened, seller, sell, owner):
    sell(2)
    made = closed(opened, seller, 11_500, note="1.00 is missing")

    counted = cash_counts.count(counted_cents=1_500, counted_by=owner, key="all")

    assert (counted.difference_cents, cash_there()) == (0, 1_500)
    with time_machine.travel(at(20), tick=False), pytest.raises(BadValue, match="Say why"):
        stand_days.undo_close(stand_day_close=made, undone_by=owner, reason="")
    assert no_faults()


def test_what_a_count_of_all_cash_posted_is_not_posted_again(opened, seller, sell, owner):
    sell(2)
    with time_machine.travel(at(16), tick=False):
        counted = cash_counts.count(
            counted_cents=1_500, counted_by=owner, key="all", note="1.00 is missing"
        )

    made = closed(opened, seller, 11_500, note="1.00 is missing")

    assert (made.difference_cents, made.entry, made.counted_with) == (-100, None, counted)
    assert cash_there() == 1_500
    assert no_faults()
    with pytest.raises(CannotReverse, match="What was over or short at a stand is in this count"):
        cash_counts.undo(cash_count=counted, undone_by=owner, reason="Wrong")
    stand_days.undo_close(stand_day_close=made, undone_by=owner, reason="Count again")
    assert cash_there() == 1_500
    cash_counts.undo(cash_count=counted, undone_by=owner, reason="Wrong")
    assert cash_there() == 1_600


def test_a_close_that_all_cash_was_counted_after_stays(opened, seller, owner):
    made = closed(opened, seller, 9_900, note="1.00 is missing")
    with time_machine.travel(at(20), tick=False):
        counted = cash_counts.count(
            counted_cents=0, counted_by=owner, key="all", note="It was in the box"
        )
        with pytest.raises(CannotReverse, match="All cash was counted on Sep 10, 2026"):
            stand_days.undo_close(stand_day_close=made, undone_by=owner, reason="Found it")

        cash_counts.undo(cash_count=counted, undone_by=owner, reason="Begin again")
        stand_days.undo_close(stand_day_close=made, undone_by=owner, reason="Found it")

    assert cash_there() == 0
    assert no_faults()


# ------------------------------------------------------------------ arithmetic


amounts = st.lists(st.integers(1, 50_000), max_size=2)


@settings(
    max_examples=data_layer.examples(12),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    float_cents=st.integers(0, 100_000),
    sold=st.integers(0, 3),
    late=st.integers(0, 3),
    came=amounts,
    went=amounts,
    spent=amounts,
    difference=st.integers(-500, 500),
)
def test_float_and_cash_and_the_difference_are_what_was_counted(
    stand_place, seller, sell, float_cents, sold, late, came, went, spent, difference
):
    with transaction.atomic():
        opened = stand_days.open_day(
            place=stand_place, float_cents=float_cents, opened_by=seller, key="open"
        )
        if sold:
            sell(sold)
        for kind, all_cents in (("change", came), ("to_box", went), ("spent", spent)):
            for cents in all_cents:
                moved(opened, kind, cents, seller, **(PAYEE if kind == "spent" else {}))
        there = float_cents + 800 * sold + sum(came) - sum(went) - sum(spent)
        counted = max(0, there + difference)

        made = closed(opened, seller, counted, note="Random")
        if late:
            with time_machine.travel(at(18), tick=False):
                sell(late, sold_at=at(13))

        assert there + made.difference_cents == counted
        # However much came in late, the book has what was counted, and not a cent of it twice.
        assert cash_there() == 800 * sold - sum(spent) + counted - there
        assert list(books.faults()) == []
        transaction.set_rollback(True)


def test_the_coins_and_notes_are_those_that_are_made():
    """31 U.S.C. § 5112 (a) and uscurrency.gov; ECB/2013/10 and Regulation (EU) 729/2014."""

    def cents(currency, kind):
        return [each.cents for each in denominations.of_currency(currency) if each.kind == kind]

    assert cents("USD", "coin") == [1, 5, 10, 25, 50, 100]
    assert cents("USD", "note") == [100, 200, 500, 1_000, 2_000, 5_000, 10_000]
    assert cents("EUR", "coin") == [1, 2, 5, 10, 20, 50, 100, 200]
    assert cents("EUR", "note") == [500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000]
    assert denominations.of_currency("GBP") == []
