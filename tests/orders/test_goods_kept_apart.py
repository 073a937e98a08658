"""Goods that had left the house come back apart from what is for sale."""

import pytest
from django.contrib.messages import get_messages
from django.urls import reverse

from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import books as order_books
from apiary_sales.orders.services import orders
from inventory.bottling.models import ReturnedJars
from inventory.stock.models import Balance, Place
from inventory.stock.queries import books
from tests import builders
from tests.orders.by_weight_room import honey_line, there, wax, wax_line, wax_lot

pytestmark = pytest.mark.django_db


@pytest.fixture
def filled(jars, shelf, shop, jar_line):
    """An order of 12 jars of 48, of which 8 are handed over."""
    lot = builders.packed_lot(jars, shelf, 48)
    order = orders.take(
        customer=shop,
        channel="shop",
        lines=[jar_line(12)],
        created_by=builders.person(),
        key=builders.new_key(),
    )
    orders.fulfil(
        order=order,
        quantities={order.lines.get().pk: 8},
        filled_by=builders.person(),
        key=builders.new_key(),
    )
    return order, lot


def take_back(order, **asked):
    return orders.take_back(
        fulfilment=order.fulfilments.get(),
        taken_by=builders.person(),
        key=builders.new_key(),
        reason="Would not sell",
        **asked,
    )


def at(lot, kind) -> Balance:
    return Balance.objects.get(lot=lot, place__kind=kind)


def test_goods_that_had_left_are_kept_apart_and_not_promised_again(filled):
    order, lot = filled

    take_back(order, had_left=True)

    assert at(lot, "returned").quantity == 8
    # The other 4 are still to be handed over.
    assert (at(lot, "shelf").quantity, at(lot, "shelf").reserved) == (40, 4)
    assert ReturnedJars.objects.get().reason == "Would not sell"
    assert Order.objects.get(pk=order.pk).status == Order.Status.OPEN
    [line] = order.lines.all()
    assert (line.quantity, line.filled, line.amount_cents) == (4, 0, 4 * 650)
    assert [*books.faults(), *order_books.faults()] == []


def test_an_order_of_which_all_came_back_is_cancelled(filled):
    order, lot = filled
    orders.fulfil(order=order, filled_by=builders.person(), key=builders.new_key())

    for made in order.fulfilments.all():
        orders.take_back(
            fulfilment=made,
            taken_by=builders.person(),
            key=builders.new_key(),
            reason="Would not sell",
            had_left=True,
        )

    assert Order.objects.get(pk=order.pk).status == Order.Status.CANCELLED
    assert (at(lot, "shelf").quantity, at(lot, "shelf").reserved) == (36, 0)
    assert at(lot, "returned").quantity == 12
    assert [*books.faults(), *order_books.faults()] == []


def test_a_cancelled_rest_is_no_longer_on_the_lines(filled):
    order, _lot = filled

    orders.cancel(
        order=order, cancelled_by=builders.person(), key=builders.new_key(), reason="Too many"
    )

    [line] = order.lines.all()
    assert (line.quantity, line.filled, line.amount_cents) == (8, 8, 8 * 650)
    assert Order.objects.get(pk=order.pk).status == Order.Status.FILLED
    notes = order.events.values_list("note", flat=True)
    assert "One pound: 12 pieces → 8 pieces" in notes
    assert [*books.faults(), *order_books.faults()] == []


def test_goods_that_never_left_are_for_the_same_order_again(filled):
    order, lot = filled

    take_back(order)

    assert not Place.objects.filter(kind="returned").exists()
    assert (at(lot, "shelf").quantity, at(lot, "shelf").reserved) == (48, 12)
    assert [*books.faults(), *order_books.faults()] == []


def test_the_page_offers_that_they_had_left(client, owner, filled):
    order, lot = filled
    client.force_login(owner)
    url = reverse("orders:order_take_back", args=[order.number, order.fulfilments.get().pk])

    page = client.get(url)
    answer = client.post(url, {"key": "k", "reason": "Would not sell", "had_left": "on"})

    [said] = get_messages(answer.wsgi_request)
    assert said.message == (
        "What was sold by the piece is kept apart until somebody decides. "
        f"Order {order.number} is updated. "
        f'<a href="{reverse("inventory:jar_list")}">Look at them</a>'
    )
    assert page.context["form"]["had_left"].value() is True
    assert at(lot, "returned").quantity == 8


def test_what_was_weighed_out_and_had_left_is_spoiled(shelf, shop, owner, key, client):
    vessel, product = builders.place("pail", Place.Kind.PAIL), wax()
    honey = builders.lot_in(vessel, 20_000)
    comb = wax_lot(product, shelf, 5_000)
    order = orders.take(
        customer=shop,
        channel="shop",
        lines=[honey_line(vessel, 4_000), wax_line(product, 1_000)],
        created_by=owner,
        key=key(),
    )
    lines = order.lines.order_by("id")
    orders.fulfil(
        order=order,
        quantities={lines[0].pk: 4_000, lines[1].pk: 600},
        filled_by=owner,
        key=key(),
    )
    client.force_login(owner)
    url = reverse("orders:order_take_back", args=[order.number, order.fulfilments.get().pk])

    after = client.post(url, {"key": "k", "reason": "Sour", "had_left": "on"}, follow=True)

    assert "What was sold by weight is booked out as spoiled." in after.content.decode()
    assert (at(honey, "spoiled").quantity, at(comb, "spoiled").quantity) == (4_000, 600)
    assert there(vessel) == (16_000, 0)
    # The other 400 are still to be handed over.
    assert there(shelf) == (4_400, 400)
    assert [*books.faults(), *order_books.faults()] == []
