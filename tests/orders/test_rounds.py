"""Delivery rounds: their stops, the load list, and what is handed over at each."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.customers.services import addresses
from apiary_sales.orders import trade_papers
from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import rounds as found
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import consignments, orders, rounds
from apiary_sales.orders.trade_models import ConsignmentDelivery
from inventory.shared import documents
from inventory.shared.errors import BadValue, NotAllowedNow
from inventory.stock.models import Balance
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def lots(jars, shelf):
    return [
        builders.packed_lot(jars, shelf, 10, code="OLD"),
        builders.packed_lot(
            jars, shelf, 20, code="NEW", best_by=timezone.localdate().replace(year=2030)
        ),
    ]


@pytest.fixture
def order(lots, shop, jar_line, owner, key):
    return orders.take(
        customer=shop, channel="delivery", lines=[jar_line(8)], created_by=owner, key=key()
    )


@pytest.fixture
def for_packer(packer, full_drum, drum_line, owner, key):
    return orders.take(
        customer=packer,
        channel="bulk",
        lines=[drum_line(full_drum("1"))],
        created_by=owner,
        key=key(),
    )


@pytest.fixture
def delivery(lots, jars, owner, key):
    there = consignments.set_up(customer=builders.customer("Mill Shop"), key=key())
    return consignments.plan(
        shelf=there, lines=[PiecesWanted(jars, 5)], created_by=owner, key=key()
    )


@pytest.fixture
def plan(owner, key, today):
    def make(*stops, **fields):
        return rounds.plan(
            **{
                "day": today,
                "vehicle": "Blue van",
                "stops": stops,
                "created_by": owner,
                "key": key(),
                **fields,
            }
        )

    return make


def test_the_load_list_has_totals_by_product_and_lot_and_what_each_stop_gets(
    plan, order, delivery, for_packer
):
    load = found.load_list(plan(order, delivery, for_packer))

    assert [(row.product.name, row.lot.code, row.quantity) for row in load.goods] == [
        ("One pound", "OLD", 10),
        ("One pound", "NEW", 3),
    ]
    assert [
        (each.what, each.customer.name, [(row.lot.code, row.quantity) for row in each.goods])
        for each in load.stops
    ] == [
        (order.number, "Corner Grocery", [("OLD", 8)]),
        (delivery.number, "Mill Shop", [("OLD", 2), ("NEW", 3)]),
        (for_packer.number, "Prairie Packers", []),
    ]
    [drum] = load.drums
    assert (drum.drum.name, drum.net_grams, drum.gross_grams) == ("Drum 1", 295_000, 313_000)
    assert load.has_honey


def test_what_is_missing_is_on_the_load_list_without_a_lot(plan, lots, jars, owner, key):
    there = consignments.set_up(customer=builders.customer("Mill Shop"), key=key())
    too_much = consignments.plan(
        shelf=there, lines=[PiecesWanted(jars, 33)], created_by=owner, key=key()
    )

    [stop] = found.load_list(plan(too_much)).stops

    assert [(row.lot and row.lot.code, row.quantity) for row in stop.goods] == [
        ("OLD", 10),
        ("NEW", 20),
        (None, 3),
    ]
    assert stop.lacks


def test_a_delivered_stop_hands_over_its_order(plan, order, owner, key):
    [stop] = plan(order).stops.all()

    made = rounds.deliver(stop=stop, delivered_by=owner, key=key())

    order.refresh_from_db()
    assert order.status == Order.Status.FILLED
    assert made.fulfilment.order == order
    with pytest.raises(NotAllowedNow, match="delivered already"):
        rounds.deliver(stop=stop, delivered_by=owner, key=key())


def test_a_stop_whose_goods_were_taken_back_is_not_delivered(plan, order, client, owner, key):
    round = plan(order)
    [stop] = round.stops.all()
    made = rounds.deliver(stop=stop, delivered_by=owner, key=key())
    orders.take_back(
        fulfilment=made.fulfilment, taken_by=owner, reason="Tapped by mistake", key=key()
    )

    [seen] = found.load_list(round).stops
    client.force_login(owner)
    page = client.get(reverse("orders:round", args=[round.number])).text

    assert (seen.is_delivered, seen.is_waiting) == (False, False)
    assert "taken back" in page
    # Its goods can be brought once more, on this round or another.
    assert list(found.orders_to_bring()) == [order]


def test_a_delivered_stop_carries_its_goods_to_the_shelf_of_the_shop(plan, delivery, owner, key):
    [stop] = plan(delivery).stops.all()

    rounds.deliver(stop=stop, delivered_by=owner, key=key())

    delivery.refresh_from_db()
    assert delivery.status == ConsignmentDelivery.Status.DELIVERED
    on_shelf = Balance.objects.filter(place=delivery.shelf.place)
    assert sum(balance.quantity for balance in on_shelf) == 5


def test_an_order_is_on_one_round_at_a_time(plan, order):
    first = plan(order)
    assert list(found.orders_to_bring()) == []

    with pytest.raises(BadValue, match=f"is on round {first.number} already") as refused:
        plan(order)

    assert refused.value.problems[0].parameter == "stops.0"


def test_the_order_of_the_stops_can_be_changed_until_they_are_delivered(
    plan, order, delivery, for_packer, owner, key, today
):
    made = plan(order, delivery)
    rounds.deliver(stop=made.stops.get(order=order), delivered_by=owner, key=key())

    rounds.change(
        round=made, day=today + timedelta(days=1), vehicle="Truck", stops=[for_packer, delivery]
    )

    load = found.load_list(made)
    assert [each.what for each in load.stops] == [
        order.number,
        for_packer.number,
        delivery.number,
    ]
    assert [each.is_waiting for each in load.stops] == [False, True, True]


def test_what_was_handed_over_on_its_own_page_is_no_longer_to_load(plan, order, owner, key):
    made = plan(order)
    orders.fulfil(order=order, filled_by=owner, key=key())

    load = found.load_list(made)

    assert load.goods == []
    assert [each.is_settled_elsewhere for each in load.stops] == [True]


def test_a_round_needs_a_vehicle_and_a_stop_and_no_stop_twice(plan, order):
    with pytest.raises(BadValue, match="Enter which vehicle drives"):
        plan(order, vehicle=" ")
    with pytest.raises(BadValue, match="Choose at least one order or delivery"):
        plan()
    with pytest.raises(BadValue, match="is on the list twice"):
        plan(order, order)


def test_a_delivery_on_a_round_is_taken_off_before_it_is_cancelled(plan, delivery):
    made = plan(delivery)

    with pytest.raises(NotAllowedNow, match=f"is on round {made.number}"):
        consignments.cancel(delivery=delivery)


def test_a_load_list_takes_a_constant_number_of_queries(
    plan, lots, shop, jar_line, owner, key, django_assert_max_num_queries
):
    many = [
        orders.take(
            customer=shop, channel="delivery", lines=[jar_line(1)], created_by=owner, key=key()
        )
        for _number in range(6)
    ]
    made = plan(*many)

    with django_assert_max_num_queries(10):
        found.load_list(made)


def test_the_driver_is_sent_to_the_delivery_address_of_the_order(plan, order, shop, client, owner):
    order.ship_to = addresses.add(
        customer=shop,
        name="Upper barn",
        street="77 Quarry Bend",
        city="Tallow Hill",
        note="Ring at the back",
        key="a",
    )
    order.save()
    client.force_login(owner)
    form = client.get(reverse("orders:round_create")).text
    made = plan(order)

    paper = documents.render_html(trade_papers.LOAD_LIST, trade_papers.load_list_context(made))
    pages = [
        client.get(reverse("orders:round", args=[made.number])).text,
        client.get(
            reverse("orders:round_stop_deliver", args=[made.number, made.stops.get().pk])
        ).text,
    ]

    assert "Tallow Hill" in form
    for seen in [paper, *pages]:
        words = " ".join(seen.split())
        assert "Upper barn, 77 Quarry Bend, Tallow Hill · Ring at the back" in words
