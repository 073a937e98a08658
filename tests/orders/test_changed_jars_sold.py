"""Gift boxes and labelled jars are sold like others; what has no label is not."""

from decimal import Decimal

import pytest

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.queries import recall, trace
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.bottling.services import fill_checks, gift_boxes, returned_jars
from inventory.shared.errors import HouseError, NotEnoughStock
from inventory.stock.models import Lot
from tests import builders
from tests.inventory import bottling_room, jar_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def house():
    return jar_room.set_up()


@pytest.fixture
def filled(house):
    return bottling_room.record(bottling_room.plan(house.room, lot_code="B")).packed_lot


@pytest.fixture
def boxes(house, filled):
    return gift_boxes.put_together(
        box=jar_room.box(house),
        place=house.shelf,
        boxes=5,
        changed_by=builders.person(),
        key=builders.new_key(),
    ).lot


def sell(house, product, pieces=2):
    return orders.sell_now(
        customer=None,
        lines=[LineWanted(OrderLine.Kind.PACKED, pieces, Decimal("25.00"), product=product)],
        place=house.shelf,
        created_by=builders.person(),
        key=builders.new_key(),
    )


def test_who_bought_a_box_bought_the_jars_and_the_extraction_in_it(house, filled, boxes):
    fulfilment = sell(house, boxes.product)

    for lot in (boxes, filled, house.room.lot):
        [row] = trace.unnamed_rows(trace.unnamed(Lot.objects.family_keys([lot.pk])))
        assert (row.description, row.lot, row.sold) == ("Winter box", boxes.code, 2)
    # Five boxes cost ten of 96 jars of 32,530 cents and five cartons of 80.
    assert boxes.cost_cents == 3_389 + 400
    assert fulfilment.lines.get().cost_cents == 1_516  # 3,789 × 2/5 = 1,515.6


def test_a_box_whose_jars_are_on_hold_is_not_sold(house, filled, boxes):
    fill_checks.record(
        run=filled.run,
        scheme="us",
        weights_milligrams=[430_000] * 12,
        weights_are_right=True,
        checked_by=builders.person(),
        key=builders.new_key(),
    )

    with pytest.raises(NotEnoughStock, match="Winter box"):
        sell(house, boxes.product)


def test_jars_without_a_label_are_not_sold(house):
    run = bottling_room.plan(house.room, without_labels=True)
    bottling_room.record(run)

    with pytest.raises(HouseError) as refused:
        sell(house, house.unlabelled)

    assert refused.value.message == (
        "One pound, no label: these jars are not for sale. Label them first."
    )


def account_of(lot):
    [found] = [each for each in recall.answer([lot.pk]).lots if each.pk == lot.pk]
    return found


def test_a_recall_counts_jars_that_came_back_once_where_they_wait(house, filled):
    returned_jars.set_aside(
        lot=filled,
        place=house.shelf,
        pieces=12,
        reason="In the window of a shop",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    answer = recall.answer([filled.pk])

    [account] = answer.lots
    assert (account.came_in, account.on_hand, account.ways_out) == (96, 96, {})
    assert answer.not_balanced == []
    waiting = [row for row in answer.places if row.place == "returned goods, waiting"]
    assert [row.quantity for row in waiting] == [12]


def test_a_recall_counts_jars_out_of_an_opened_box_once(house, filled, boxes):
    gift_boxes.take_apart(
        lot=boxes,
        place=house.shelf,
        boxes=2,
        changed_by=builders.person(),
        key=builders.new_key(),
    )

    jars, made = account_of(filled), account_of(boxes)

    # Ten of 96 jars went into five boxes, and four came back out of two of them.
    assert (jars.came_in, jars.on_hand, jars.into_lots) == (96, 90, 6)
    assert (made.came_in, made.on_hand, made.into_lots) == (5, 3, 2)
    assert jars.difference == made.difference == 0
