"""Quotes of drums, and the orders they become, through their services."""

from datetime import timedelta

import pytest
import time_machine
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.formats import date_format

from apiary_sales.orders import papers
from apiary_sales.orders.errors import QuoteExpired
from apiary_sales.orders.models import Order, Reservation
from apiary_sales.orders.queries import books
from apiary_sales.orders.services import orders, quotes
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    NotAllowedNow,
    NotEnoughHoney,
    SeveralProblems,
    StockReserved,
)
from inventory.stock.models import Balance, Lot
from inventory.stock.queries import books as stock_books
from inventory.stock.services import drums
from tests import builders
from tests.orders.conftest import charge

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    assert list(stock_books.faults()) == []
    assert list(books.faults()) == []


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def quote(packer, owner, key, today):
    """Return a maker of quotes good for two weeks."""

    def make(*lines, **fields):
        return quotes.quote(
            **{
                "customer": packer,
                "lines": lines,
                "valid_until": today + timedelta(days=14),
                "created_by": owner,
                "key": key(),
                **fields,
            }
        )

    return make


@pytest.fixture
def accept(owner, key):
    def make(order, **fields):
        return quotes.accept(**{"order": order, "accepted_by": owner, "key": key(), **fields})

    return make


def test_a_quote_reserves_nothing(quote, drum_line, full_drum):
    drum = full_drum(7)

    order = quote(drum_line(drum), charge("drum_deposit", 1, "40"), charge("freight", 1, "180"))

    assert order.status == Order.Status.QUOTED
    assert order.total_cents == 139_828 + 4_000 + 18_000
    assert Balance.objects.in_vessel(drum).reserved == 0


def test_an_accepted_quote_keeps_its_number_and_reserves_its_drums(
    quote, accept, drum_line, full_drum
):
    drum = full_drum(7)
    quoted = quote(drum_line(drum))

    order = accept(quoted)

    assert (order.number, order.status) == (quoted.number, Order.Status.OPEN)
    assert Balance.objects.in_vessel(drum).reserved == 295_000
    assert Reservation.objects.get().quantity == 295_000


def test_a_quote_can_be_accepted_on_its_last_day(quote, accept, drum_line, full_drum, today):
    quoted = quote(drum_line(full_drum(7)), valid_until=today)

    assert accept(quoted, on=today).status == Order.Status.OPEN


def test_a_quote_past_its_date_is_refused(quote, accept, drum_line, full_drum, today):
    drum = full_drum(7)
    quoted = quote(drum_line(drum), valid_until=today)

    with pytest.raises(QuoteExpired) as refused:
        accept(quoted, on=today + timedelta(days=1))

    assert str(refused.value) == (
        f"Quote {quoted.number} was valid until {date_format(today)}. "
        "Make a new quote at today's price."
    )
    quoted.refresh_from_db()
    assert quoted.status == Order.Status.QUOTED
    assert Balance.objects.in_vessel(drum).reserved == 0


def test_the_last_drum_goes_to_who_accepts_first(quote, accept, drum_line, full_drum):
    drum = full_drum(7)
    first, second = quote(drum_line(drum)), quote(drum_line(drum))
    accept(first)

    with pytest.raises(StockReserved) as refused:
        accept(second)

    assert str(refused.value) == (f"Drum 7 is reserved for order {first.number}. Choose another.")
    second.refresh_from_db()
    assert second.status == Order.Status.QUOTED
    assert Reservation.objects.count() == 1


def test_a_drum_emptied_since_is_named(quote, accept, drum_line, full_drum, owner, key):
    drum, kept = full_drum(7), full_drum(8)
    quoted = quote(drum_line(drum), drum_line(kept))
    drums.drain(drum=drum, target=builders.place("t2"), recorded_by=owner, key=key())

    with pytest.raises(NotEnoughHoney) as refused:
        accept(quoted)

    assert str(refused.value) == "Drum 7 is empty or no longer here. Choose another."
    # To accept is to say which order, and nothing about its lines.
    assert refused.value.parameter is None
    assert Balance.objects.in_vessel(kept).reserved == 0


def test_a_drum_refilled_since_is_named(quote, accept, drum_line, full_drum, owner, key):
    drum = full_drum(7)
    quoted = quote(drum_line(drum))
    drums.drain(drum=drum, target=builders.place("t2"), recorded_by=owner, key=key())
    other = builders.lot_in(drum, 290_000)

    with pytest.raises(NotAllowedNow) as refused:
        accept(quoted)

    assert str(refused.value) == (
        f"Drum 7 has changed since the quote. It now has 639 lb of lot {other.code}; "
        "the quote says 650 lb. Make a new quote."
    )


def test_every_drum_gone_since_is_named(quote, accept, drum_line, full_drum, owner, key):
    seven, eight = full_drum(7), full_drum(8)
    quoted = quote(drum_line(seven), drum_line(eight))
    for drum in (seven, eight):
        drums.drain(drum=drum, target=builders.place(f"t-{drum}"), recorded_by=owner, key=key())

    with pytest.raises(SeveralProblems) as refused:
        accept(quoted)

    assert [problem.message for problem in refused.value.problems] == [
        "Drum 7 is empty or no longer here. Choose another.",
        "Drum 8 is empty or no longer here. Choose another.",
    ]


def test_a_quote_is_accepted_once(quote, accept, drum_line, full_drum):
    quoted = quote(drum_line(full_drum(7)))
    accept(quoted, key="once")

    with pytest.raises(AlreadyRecorded) as repeated:
        accept(quoted, key="once")
    with pytest.raises(NotAllowedNow) as refused:
        accept(quoted)

    assert repeated.value.made == quoted
    assert str(refused.value) == (
        f"{quoted.number} is no longer an open quote. Its state is now “to fill”."
    )


def test_a_reserved_drum_is_not_offered(quote, accept, drum_line, full_drum):
    drum = full_drum(7)
    taken = accept(quote(drum_line(drum)))

    with pytest.raises(StockReserved) as refused:
        quote(drum_line(drum))

    assert str(refused.value) == (f"Drum 7 is reserved for order {taken.number}. Choose another.")
    assert Order.objects.count() == 1


def test_a_drum_on_hold_is_not_offered(quote, drum_line, full_drum):
    drum = full_drum(7)
    lot = Balance.objects.in_vessel(drum).lot
    Lot.objects.filter(pk=lot.pk).update(is_on_hold=True, hold_reason="Residue test")

    with pytest.raises(Exception, match=f"Lot {lot.code} is on hold and can't be sold"):
        quote(drum_line(drum))


def test_a_quote_is_not_valid_until_yesterday(quote, drum_line, full_drum, today):
    with pytest.raises(BadValue) as refused:
        quote(drum_line(full_drum(7)), valid_until=today - timedelta(days=1))

    assert str(refused.value) == (
        "The last day the quote is valid is in the past. Choose today or a later day."
    )
    assert refused.value.parameter == "valid_until"
    assert Order.objects.count() == 0


def test_the_same_quote_sent_twice_is_one(quote, drum_line, full_drum):
    drum = full_drum(7)
    first = quote(drum_line(drum), key="once")

    with pytest.raises(AlreadyRecorded) as refused:
        quote(drum_line(drum), key="once")

    assert refused.value.made == first


def test_the_same_quote_sent_again_after_its_last_day_is_recorded_already(
    quote, drum_line, full_drum, today
):
    drum = full_drum(7)
    first = quote(drum_line(drum), valid_until=today, key="once")

    with (
        time_machine.travel(timezone.now() + timedelta(days=1)),
        pytest.raises(AlreadyRecorded) as refused,
    ):
        quote(drum_line(drum), valid_until=today, key="once")

    assert refused.value.made == first


def test_a_quote_can_be_withdrawn(quote, drum_line, full_drum, owner, key):
    quoted = quote(drum_line(full_drum(7)))

    with pytest.raises(NotAllowedNow) as refused:
        orders.cancel(order=quoted, cancelled_by=owner, key=key(), reason="bought elsewhere")
    quotes.withdraw(order=quoted, withdrawn_by=owner, key=key(), reason="bought elsewhere")
    quoted.refresh_from_db()

    assert str(refused.value) == (
        f"{quoted.number} is a quote and not an order yet. Withdraw or decline it instead."
    )
    assert quoted.status == Order.Status.WITHDRAWN


def test_the_paper_prints_pounds_that_multiply_out(quote, drum_line, full_drum):
    order = quote(drum_line(full_drum(7, grams=297_218), price="2.10"))

    paper = render_to_string(
        "documents/quote.html", {**papers.quote_context(order), "house": {"name": "House"}}
    )

    # 297,218 g are 655.254 lb; 655.25 × 2.10 = 1,376.03, where 655 lb would come to 1,375.50.
    assert "655.25 <small>lb</small>" in paper
    assert "$1,376.03" in paper


def test_the_sum_of_a_quote_adds_up_the_pounds_that_are_printed(quote, drum_line, full_drum):
    # Each is 655.254 lb, printed 655.25: two of them are 1,310.50 and not 1,310.51.
    drums = [full_drum(7, grams=297_218), full_drum(8, grams=297_218)]
    order = quote(*(drum_line(drum, price="2.10") for drum in drums))

    paper = render_to_string(
        "documents/quote.html", {**papers.quote_context(order), "house": {"name": "House"}}
    )

    assert paper.count("655.25 <small>lb</small>") == 2
    assert "<b>1,310.50</b> <small>lb</small>" in paper
