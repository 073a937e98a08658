"""What the proof of the book of orders finds when somebody meddled with the database."""

import pytest

from apiary_sales.orders.models import (
    Fulfilment,
    FulfilmentLine,
    Order,
    OrderLine,
    Reservation,
)
from apiary_sales.orders.queries import books
from apiary_sales.orders.services import orders
from inventory.stock.models import Balance
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def order(shop, jar_line, jars, shelf, owner, key):
    """A shop order of 30 jars at $6.50, 10 of them handed over."""
    builders.packed_lot(jars, shelf, 48)
    order = orders.take(
        customer=shop, channel="shop", lines=[jar_line(30)], created_by=owner, key=key()
    )
    orders.fulfil(order=order, quantities={order.lines.get().pk: 10}, filled_by=owner, key=key())
    return order


def faults():
    return list(books.faults())


def test_sound_books_have_no_fault(order):
    assert faults() == []


def test_a_reservation_nobody_holds_is_found(order):
    Reservation.objects.all().delete()

    assert faults() == [
        "One pound at Shelf: orders reserve 0, the balance says 20.",
        f"Order {order}: One pound has 0 reserved, 20 should be.",
    ]


def test_a_balance_that_reserves_another_amount_is_found(order):
    Balance.objects.filter(is_physical=True).update(reserved=19)

    assert faults() == ["One pound at Shelf: orders reserve 20, the balance says 19."]


def test_a_reservation_of_a_closed_order_is_found(order):
    Order.objects.update(status="filled")

    assert faults() == [
        f"Order {order}: One pound has 20 reserved, 0 should be.",
        f"Order {order} is filled, yet something is left to fill.",
    ]


def test_a_line_that_counts_another_amount_filled_is_found(order):
    FulfilmentLine.objects.update(quantity=9)

    assert faults() == [f"Order {order}: One pound counts 10 filled, its fulfilments add up to 9."]


def test_a_fulfilment_taken_back_without_its_line_is_found(order):
    Fulfilment.objects.update(is_taken_back=True)

    assert faults() == [f"Order {order}: One pound counts 10 filled, its fulfilments add up to 0."]


def test_parts_that_come_to_another_amount_than_the_line_are_found(order, owner, key):
    orders.fulfil(order=order, filled_by=owner, key=key())
    first = FulfilmentLine.objects.first()
    first.amount_cents += 1
    first.save()

    assert faults() == [f"Order {order}: One pound comes to 19500 cents, its fulfilments to 19501."]


def test_an_amount_that_is_not_quantity_times_price_is_found(order):
    OrderLine.objects.update(amount_cents=19_499)

    assert faults() == [
        f"Order {order}: One pound comes to 19499 cents, quantity and price to 19500."
    ]


def test_goods_of_a_cancelled_order_are_found(order):
    Order.objects.update(status="cancelled")

    assert faults() == [
        f"Order {order}: One pound has 20 reserved, 0 should be.",
        f"Order {order} is cancelled, yet One pound was filled.",
    ]
