"""Purchase orders: placed, changed, received for, closed."""

from datetime import timedelta
from decimal import Decimal

import pytest

from apiary_sales.billing.models import PurchaseOrder, PurchaseReceipt
from apiary_sales.billing.queries import purchase_orders as queries
from apiary_sales.billing.services import purchase_orders
from apiary_sales.billing.services.purchase_orders import LineOrdered
from inventory.bottling.models import PartReceipt
from inventory.bottling.services import delivery_corrections, parts, reversals
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, SeveralProblems
from inventory.stock.models import Balance
from inventory.stock.queries import books as stock_books
from tests import builders
from tests.billing.buying_room import TODAY, Room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room(db):
    return Room()


def state(order):
    found = queries.orders().get(pk=order.pk)
    return queries.ordered(found).tag(TODAY)["text"]


def test_an_order_has_its_number_its_amounts_and_leaves_the_stock_alone(room):
    order = room.order(
        LineOrdered(room.jar, 1000, Decimal("0.425"), supplier_code="J-16"),
        LineOrdered(room.wax, 4536, Decimal("6.50")),
        freight_cents=3_000,
    )

    # 1,000 × 0.425 = 425.00; 4,536 g are 10.0002 lb, × 6.50 = 65.00.
    assert order.number == "PO26-0001"
    assert [line.amount_cents for line in order.lines.all()] == [42_500, 6_500]
    assert state(order) == "ordered"
    assert not Balance.objects.filter(is_physical=True, quantity__gt=0).exists()
    assert room.order().number == "PO26-0002"


def test_an_order_is_refused_line_by_line(room):
    honey = builders.product()

    with pytest.raises(SeveralProblems) as refused:
        room.order(
            LineOrdered(room.jar, 0, Decimal("0.42")),
            LineOrdered(honey, 5, Decimal("-1")),
            expected_on=TODAY - timedelta(days=1),
            freight_cents=-1,
        )

    assert [problem.parameter for problem in refused.value.problems] == [
        "expected_on",
        "freight_cents",
        "lines.0.quantity",
        "lines.1.thing",
        "lines.1.unit_price",
    ]
    assert not PurchaseOrder.objects.exists()
    with pytest.raises(BadValue):
        purchase_orders.place(supplier=room.supplier, lines=[], ordered_by=room.person, key="none")


def test_an_order_sent_twice_is_placed_once(room):
    order = room.order(key="po")

    with pytest.raises(AlreadyRecorded) as repeat:
        room.order(key="po")

    assert repeat.value.made == order


def test_what_comes_in_parts_is_received_at_the_ordered_price_with_its_freight(room):
    order = room.order(freight_cents=1_001)
    line = order.lines.get()

    first = room.receive(line, 400)
    assert state(order) == "part received"
    second = room.receive(line, 600)

    # 420.00 and 10.01 of freight: 430.01 × 0.4 = 172.004, × 0.6 = 258.006.
    assert [first.part_receipt.cost_cents, second.part_receipt.cost_cents] == [17_200, 25_801]
    assert first.part_receipt.supplier == room.supplier
    assert Balance.objects.get(item=room.jar.item, place=room.shelf).quantity == 1000
    assert state(order) == "all received"
    assert list(stock_books.faults()) == []


def test_more_than_was_ordered_is_asked_about_and_booked_because_it_came(room):
    order = room.order()
    line = order.lines.get()
    room.receive(line, 400)
    with pytest.raises(BadValue) as asked:
        room.receive(line, 601)
    assert asked.value.parameter == "more_is_right"
    assert str(asked.value) == (
        "1,000 pieces of One-pound jar are ordered, and with these 1,001 pieces would have come. "
        "Check the number, or confirm that so much came."
    )
    room.receive(line, 600, key="last")
    with pytest.raises(AlreadyRecorded):
        room.receive(line, 600, key="last")

    room.receive(line, 200, cost_cents=50_000, more_is_right=True)

    row = queries.ordered(queries.orders().get(pk=order.pk)).lines[0]
    assert (row.received, row.missing) == (1200, 0)


def test_goods_get_their_lot_and_an_undone_delivery_is_missing_again(room):
    order = room.order(LineOrdered(room.candle, 24, Decimal("2.00")))
    line = order.lines.get()

    came = room.receive(line, 24, maker_lot="C-77")
    assert came.goods_receipt.lot.code == "C-77"
    reversals.reverse(
        posting=came.goods_receipt.posting, recorded_by=room.person, key="undo", note="Wrong"
    )

    assert state(order) == "ordered"


def test_a_delivery_corrected_later_counts_as_it_is_now(room):
    order = room.order()
    came = room.receive(order.lines.get(), 1000)

    delivery_corrections.correct_parts(
        receipt=came.part_receipt, pieces=900, recorded_by=room.person, key="c", reason="Counted"
    )

    row = queries.ordered(queries.orders().get(pk=order.pk)).lines[0]
    assert (row.received, row.missing) == (900, 100)


def test_a_delivery_sent_twice_is_received_once(room):
    line = room.order().lines.get()
    room.receive(line, 400, key="came")

    with pytest.raises(AlreadyRecorded):
        room.receive(line, 400, key="came")

    assert PurchaseReceipt.objects.count() == PartReceipt.objects.count() == 1


def test_a_delivery_recorded_without_the_order_is_linked_once(room):
    order = room.order()
    line = order.lines.get()
    other = builders.part("Lid", "lid")

    def came(part, key):
        return parts.receive(
            part=part,
            place=room.shelf,
            pieces=1000,
            cost_cents=40_000,
            supplier="Meadow Glass",
            received_on=TODAY,
            recorded_by=room.person,
            key=key,
        )

    receipt = came(room.jar, "jars")
    assert queries.unlinked(line) == [receipt]
    with pytest.raises(BadValue, match="Choose a delivery of One-pound jar"):
        purchase_orders.link(line=line, part_receipt=came(other, "lids"))
    purchase_orders.link(line=line, part_receipt=receipt)

    assert state(order) == "all received"
    assert queries.unlinked(line) == []
    with pytest.raises(BadValue, match="linked to an order already"):
        purchase_orders.link(line=line, part_receipt=receipt)


def test_lines_are_replaced_until_something_came_in(room):
    order = room.order()

    purchase_orders.change(
        order=order, lines=[LineOrdered(room.candle, 12, Decimal("2.00"))], note="By truck"
    )
    assert [str(line) for line in order.lines.all()] == ["Candle"]
    room.receive(order.lines.get(), 6)

    with pytest.raises(NotAllowedNow, match="Something came in"):
        purchase_orders.change(order=order, lines=[LineOrdered(room.jar, 1, Decimal(1))])


def test_an_order_that_is_not_awaited_any_more_needs_a_reason(room):
    never, partly = room.order(), room.order()
    room.receive(partly.lines.get(), 400)

    with pytest.raises(BadValue, match="no longer expected"):
        purchase_orders.close(order=never)
    assert purchase_orders.close(order=never, reason="Sold out").status == "cancelled"
    assert purchase_orders.close(order=partly, reason="The rest is sold out").status == "closed"

    with pytest.raises(NotAllowedNow, match="PO26-0002 is closed"):
        room.receive(partly.lines.get(), 1)
