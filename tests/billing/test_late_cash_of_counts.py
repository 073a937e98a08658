"""Cash that was in the drawer when all cash was counted, and in the books only later."""

from functools import partial

import pytest
import time_machine
from django.db import IntegrityError, transaction

from apiary_sales.billing.models import Entry, EntryLine, StandLateCash
from apiary_sales.billing.queries import books, purchase_books
from apiary_sales.billing.queries.cash_book import cash_book
from apiary_sales.billing.queries.journal import Journal, JournalFilters
from apiary_sales.billing.services import book, cash_counts, stand_days
from tests import builders
from tests.billing.conftest import TODAY, days
from tests.billing.stand_drawer import at, sell_jars

pytestmark = pytest.mark.django_db


def cash_there():
    return book.balance_cents(EntryLine.Account.CASH, TODAY + days(2))


def no_faults():
    return [*books.faults(), *purchase_books.faults()] == []


@pytest.fixture
def seller(house):
    return builders.person("stand")


@pytest.fixture
def stand_place(request):
    return request.getfixturevalue("stand")


@pytest.fixture
def sell(stand_place, pounds):
    return partial(sell_jars, pounds, place=stand_place)


def count_all(cents, hour=17, day=0, **more):
    with time_machine.travel(at(hour) + days(day), tick=False):
        return cash_counts.count(
            counted_cents=cents, counted_by=builders.person(), key=builders.new_key(), **more
        )


def undo_count(counted, hour=20):
    with time_machine.travel(at(hour), tick=False):
        return cash_counts.undo(
            cash_count=counted, undone_by=builders.person(), reason="Counted wrong"
        )


def comes_in(sell, hour=19, day=0, sold=15, pieces=1, **more):
    with time_machine.travel(at(hour) + days(day), tick=False):
        return sell(pieces, sold_at=at(sold), **more)


def test_cash_that_was_counted_with_all_is_in_the_books_once(sell):
    # 8.00 of a phone without signal: over, until the sale comes in.
    counted = count_all(800, note="A sale is missing")

    sale = comes_in(sell)

    [late] = StandLateCash.objects.all()
    assert (late.cash_count, late.close, late.sale, late.cents) == (counted, None, sale, 800)
    assert cash_there() == 800
    assert no_faults()


def test_only_a_count_after_the_sale_counted_its_cash(sell):
    # The morning's count of the day before, and one of today before the sale.
    count_all(0, hour=8, counted_on=TODAY - days(1))
    count_all(0, hour=9)

    comes_in(sell, sold=10)

    assert not StandLateCash.objects.exists()
    assert cash_there() == 800
    assert no_faults()


def test_the_first_count_after_the_sale_is_the_one_it_is_taken_off(sell):
    first = count_all(800, note="A sale is missing")
    count_all(800, day=1)

    comes_in(sell, day=2)

    late = StandLateCash.objects.get()
    assert late.cash_count == first
    assert cash_there() == 800
    assert no_faults()


def test_a_card_sale_that_comes_in_late_takes_no_cash_off_a_count(sell):
    count_all(0)

    comes_in(sell, method="card")

    assert not StandLateCash.objects.exists()


def test_a_sale_corrected_after_the_count_counts_with_its_right_amount(sell):
    wrong = comes_in(sell, hour=12, sold=12, pieces=3)
    # One jar was sold, 8.00; three were typed, 24.00, and 16.00 is missing.
    count_all(800, note="Something was typed wrong")

    comes_in(sell, sold=12, corrects=wrong)

    assert StandLateCash.objects.get().cents == -1_600
    assert cash_there() == 800
    assert no_faults()


def test_an_undone_count_takes_its_late_cash_back(sell):
    counted = count_all(800, note="A sale is missing")
    comes_in(sell)

    undo_count(counted)

    assert StandLateCash.objects.get().undo_entry is not None
    assert cash_there() == 800
    assert no_faults()


def test_of_an_undone_count_the_next_one_posted_the_cash(sell):
    undo_count(count_all(800, note="A sale is missing"), hour=18)
    again = count_all(800, hour=19, note="Still missing")

    comes_in(sell, hour=20)

    assert StandLateCash.objects.get().cash_count == again
    assert cash_there() == 800
    assert no_faults()


def test_a_count_whose_forerunner_is_undone_later_did_not_post_the_cash(sell):
    first = count_all(800, note="A sale is missing")
    # It found right what the first had posted; without that, the book has nothing to take off.
    count_all(800, hour=18)
    undo_count(first, hour=19)

    comes_in(sell, hour=20)

    assert not StandLateCash.objects.exists()
    assert cash_there() == 800
    assert no_faults()


@pytest.fixture
def opened(stand_place, seller):
    with time_machine.travel(at(8), tick=False):
        return stand_days.open_day(place=stand_place, float_cents=0, opened_by=seller, key="open")


def close(opened, seller, cents, hour, **more):
    with time_machine.travel(at(hour), tick=False):
        return stand_days.close(
            stand_day=opened,
            closed_by=seller,
            counted_cents=cents,
            key=builders.new_key(),
            **more,
        )


def test_a_day_closed_right_after_the_sale_came_in_posts_nothing_more(opened, seller, sell):
    counted = count_all(800, note="A sale is missing")
    comes_in(sell, hour=18)

    made = close(opened, seller, 800, 19)

    assert (made.difference_cents, made.entry) == (0, None)
    assert StandLateCash.objects.get().cash_count == counted
    assert cash_there() == 800
    assert no_faults()


def test_the_close_of_the_day_wins_over_a_count_of_all(opened, seller, sell):
    made = close(opened, seller, 800, 16, note="A sale is missing")
    count_all(800)

    comes_in(sell)

    late = StandLateCash.objects.get()
    assert (late.close, late.cash_count) == (made, None)
    assert cash_there() == 800
    assert no_faults()


def test_a_sale_after_the_close_and_before_the_count_is_taken_off_the_count(opened, seller, sell):
    close(opened, seller, 0, 16)
    counted = count_all(800, hour=18, note="Sold after the close")

    comes_in(sell, sold=17)

    assert StandLateCash.objects.get().cash_count == counted
    assert cash_there() == 800
    assert no_faults()


def test_late_cash_of_a_close_goes_with_the_count_that_has_its_difference(opened, seller, sell):
    counted = count_all(800, note="A sale is missing")
    made = close(opened, seller, 800, 18, note="A sale is missing")
    comes_in(sell)
    with time_machine.travel(at(20), tick=False):
        stand_days.undo_close(
            stand_day_close=made, undone_by=builders.person(), reason="The sale came"
        )
    assert cash_there() == 800

    undo_count(counted, hour=21)

    assert cash_there() == 800
    assert no_faults()


def test_the_cash_book_and_the_journal_name_it(sell):
    counted = count_all(800, note="A sale is missing")
    comes_in(sell)
    undo_count(counted)

    named = {line.text: line.url for line in cash_book(TODAY, TODAY).lines}
    told = {line.document for line in Journal(JournalFilters()).lines()}

    text = "Came in after the count of Sep 10, 2026"
    assert named[text] == named[f"{text}, undone"] == "/money/cash-counts/"
    assert {text, f"{text} undone"} <= told


@pytest.mark.usefixtures("without_triggers")
def test_late_cash_of_a_count_that_is_not_taken_off_is_a_fault(sell):
    count_all(800, note="A sale is missing")
    sale = comes_in(sell)
    StandLateCash.objects.all().delete()

    assert list(books.faults()) == [
        f"The cash of {sale.receipt} came in after all cash was counted, and is in the book twice."
    ]


def test_late_cash_is_of_one_count(sell):
    sale = comes_in(sell)

    with pytest.raises(IntegrityError), transaction.atomic():
        StandLateCash.objects.create(sale=sale, cents=1, entry=Entry.objects.first())
