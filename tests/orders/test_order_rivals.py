"""Two people at once, on a real PostgreSQL: the last drum, one form twice, fill and cancel."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from apiary_sales.orders.models import Fulfilment, Order, Reservation
from apiary_sales.orders.queries import books
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders, quotes
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.stock.models import Balance
from inventory.stock.queries import books as stock_books
from tests import builders
from tests.rivals import together

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]


def refusals(outcomes) -> list[HouseError]:
    return [outcome for outcome in outcomes if isinstance(outcome, HouseError)]


def check_books() -> None:
    assert list(stock_books.faults()) == []
    assert list(books.faults()) == []


@pytest.fixture
def order_drum(full_drum, drum_line, packer, owner):
    drum = full_drum(7)
    line = drum_line(drum)

    def take():
        return orders.take(
            customer=packer,
            channel="bulk",
            lines=[line],
            created_by=owner,
            key=builders.new_key(),
        )

    take.drum = drum
    return take


def test_of_two_buyers_of_the_last_drum_one_gets_it_and_one_is_told(order_drum):
    outcomes = together(order_drum, order_drum)

    [refused] = refusals(outcomes)
    [order] = Order.objects.all()
    assert refused.message == f"Drum 7 is reserved for order {order.number}. Choose another."
    assert Balance.objects.in_vessel(order_drum.drum).reserved == 295_000
    assert Reservation.objects.count() == 1
    check_books()


def test_of_two_accepted_quotes_of_one_drum_one_is_told(full_drum, drum_line, packer, owner, key):
    line = drum_line(full_drum(7))
    first, second = (
        quotes.quote(
            customer=packer,
            lines=[line],
            valid_until=timezone.localdate() + timedelta(days=1),
            created_by=owner,
            key=key(),
        )
        for _number in range(2)
    )

    outcomes = together(
        lambda: quotes.accept(order=first, accepted_by=owner, key="first"),
        lambda: quotes.accept(order=second, accepted_by=owner, key="second"),
    )

    assert [error.code for error in refusals(outcomes)] == ["stock_reserved"]
    assert sorted(Order.objects.values_list("status", flat=True)) == ["open", "quoted"]
    check_books()


def test_the_same_quote_sent_twice_at_once_is_one(full_drum, drum_line, packer, owner):
    line = drum_line(full_drum(7))

    def quote():
        return quotes.quote(
            customer=packer,
            lines=[line],
            valid_until=timezone.localdate(),
            created_by=owner,
            key="one-form",
        )

    outcomes = together(quote, quote, quote)

    assert [type(error) for error in refusals(outcomes)] == [AlreadyRecorded, AlreadyRecorded]
    assert Order.objects.count() == 1


def test_many_orders_and_stand_sales_never_promise_or_sell_a_jar_twice(
    jars, stand, shop, owner, key
):
    builders.packed_lot(jars, stand, 20)
    line = LineWanted("packed", 3, Decimal("6.50"), product=jars)

    def take():
        return orders.take(customer=shop, channel="shop", lines=[line], created_by=owner, key=key())

    def sell():
        return orders.sell_now(
            customer=None, lines=[line], place=stand, created_by=owner, key=key()
        )

    outcomes = together(*[take, sell] * 5)

    # 20 jars are six times three and two left over.
    assert len(refusals(outcomes)) == 4
    balance = Balance.objects.get(place=stand)
    assert balance.quantity - balance.reserved == 2
    assert sorted(Order.objects.values_list("number", flat=True)) == sorted(
        f"K{timezone.localdate().year % 100:02d}-{number:04d}" for number in range(1, 7)
    )
    check_books()


def test_an_order_filled_twice_at_once_hands_over_once(jars, shelf, shop, jar_line, owner, key):
    builders.packed_lot(jars, shelf, 48)
    order = orders.take(
        customer=shop, channel="shop", lines=[jar_line(30)], created_by=owner, key=key()
    )

    outcomes = together(
        lambda: orders.fulfil(order=order, filled_by=owner, key="first"),
        lambda: orders.fulfil(order=order, filled_by=owner, key="second"),
    )

    assert [error.code for error in refusals(outcomes)] == ["not_allowed_now"]
    assert Fulfilment.objects.count() == 1
    assert Balance.objects.get(place=shelf).quantity == 18
    check_books()


def test_filling_and_cancelling_at_once_leave_the_books_whole(
    jars, shelf, shop, jar_line, owner, key
):
    builders.packed_lot(jars, shelf, 48)
    order = orders.take(
        customer=shop, channel="shop", lines=[jar_line(30)], created_by=owner, key=key()
    )

    outcomes = together(
        lambda: orders.fulfil(order=order, filled_by=owner, key="fill"),
        lambda: orders.cancel(order=order, cancelled_by=owner, key="stop", reason="closed"),
    )

    assert len(refusals(outcomes)) == 1
    balance = Balance.objects.get(place=shelf)
    assert (balance.quantity, balance.reserved) in [(18, 0), (48, 0)]
    check_books()
