"""Jars reserved for an order whose lot is put on hold afterwards: other lots take their place."""

import pytest
from django.urls import reverse

from apiary_sales.orders.models import Order, Reservation
from apiary_sales.orders.queries import books
from apiary_sales.orders.services import orders
from inventory.shared.errors import AlreadyRecorded, NotAllowedNow, NotEnoughStock
from inventory.stock.models import Balance, Lot
from inventory.stock.queries import books as stock_books
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    assert list(stock_books.faults()) == []
    assert list(books.faults()) == []


@pytest.fixture
def lots(jars, shelf):
    """Return the oldest lot of 20 jars, and a younger one of 30."""
    return (
        builders.packed_lot(jars, shelf, 20, code="L26001"),
        builders.packed_lot(jars, shelf, 30, code="L26002"),
    )


@pytest.fixture
def order(shop, jar_line, lots, owner, key):
    """30 jars: all 20 of the oldest lot, and 10 of the younger."""
    return orders.take(
        customer=shop, channel="shop", lines=[jar_line(30)], created_by=owner, key=key()
    )


@pytest.fixture
def repick(owner, key):
    def make(order, **fields):
        return orders.repick(order=order, **{"picked_by": owner, "key": key(), **fields})

    return make


def put_on_hold(lot):
    Lot.objects.filter(pk=lot.pk).update(is_on_hold=True, hold_reason="Short fill")


def promised():
    return dict(Reservation.objects.values_list("balance__lot__code", "quantity"))


def test_free_jars_of_another_lot_take_the_place(order, lots, repick, owner, key):
    put_on_hold(lots[0])

    repick(order)

    assert promised() == {"L26002": 30}
    assert dict(Balance.objects.filter(quantity__gt=0).values_list("lot__code", "reserved")) == {
        "L26001": 0,
        "L26002": 30,
    }
    event = order.events.get()
    assert (event.kind, event.note) == ("repicked", "L26001")
    orders.fulfil(order=order, filled_by=owner, key=key())
    order.refresh_from_db()
    assert order.status == Order.Status.FILLED


def test_too_few_free_jars_change_nothing(order, lots, repick):
    put_on_hold(lots[1])

    with pytest.raises(NotEnoughStock) as refused:
        repick(order)

    assert refused.value.message == (
        "Not enough One pound. Asked for: 10 pieces. Free: 0 pieces. Reserved for orders: "
        "30 pieces. Take fewer, or plan a bottling run. On hold, not for sale: 30 pieces of lot "
        "L26002."
    )
    assert refused.value.parameter is None
    assert promised() == {"L26001": 20, "L26002": 10}
    assert not order.events.exists()


def test_an_order_with_nothing_on_hold_is_left_alone(order, repick):
    with pytest.raises(NotAllowedNow) as refused:
        repick(order)

    assert refused.value.message == f"Order {order.number} has no reserved goods on hold."


def test_the_same_form_twice_picks_once(order, lots, repick):
    put_on_hold(lots[0])
    repick(order, key="form-1")

    with pytest.raises(AlreadyRecorded):
        repick(order, key="form-1")

    assert order.events.count() == 1


def test_the_order_page_offers_it_while_a_lot_is_on_hold(client, order, lots):
    client.force_login(builders.person("bottling"))
    page = reverse("orders:order_detail", args=[order.number])
    address = reverse("orders:order_repick", args=[order.number])
    assert address not in client.get(page).text
    put_on_hold(lots[0])

    assert address in client.get(page).text
    assert "L26001" in client.get(address).text
    done = client.post(address, {"key": "p1"}, follow=True)

    assert "Other jars are reserved for order" in done.text
    assert promised() == {"L26002": 30}
    assert address not in client.get(page).text


def test_the_hand_over_page_shows_the_way_out(client, order, lots):
    put_on_hold(lots[0])
    client.force_login(builders.person("bottling"))
    address = reverse("orders:order_fulfil", args=[order.number])
    line = order.lines.get()

    refused = client.post(
        address, {"key": "f1", f"line_{line.pk}": "30", "filled_on": builders.today()}
    )

    assert refused.status_code == 422
    assert refused.context["form"].errors[f"line_{line.pk}"] == [
        "Lot L26001 is on hold and can't be sold: Short fill"
    ]
    assert reverse("orders:order_repick", args=[order.number]) in refused.text


def test_the_stand_does_not_pick(client, order):
    client.force_login(builders.person("stand"))

    assert client.post(reverse("orders:order_repick", args=[order.number])).status_code == 403
