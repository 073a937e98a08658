"""Creamed honey that sets is not sold before its day."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from apiary_sales.billing.queries import stand
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.bottling.services import setting
from inventory.shared.errors import NotEnoughStock
from inventory.stock.models import Lot
from tests import builders
from tests.inventory import bottling_room, forms_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def run():
    room = bottling_room.set_up()
    return forms_room.record(forms_room.creamed(room, setting_days=7))


def order_of(product):
    line = LineWanted("packed", 4, Decimal(9), product=product)
    return orders.take(
        customer=builders.customer(),
        channel="shop",
        lines=[line],
        created_by=builders.person(),
        key=builders.new_key(),
    )


def test_an_order_for_jars_that_set_is_told_when_they_are_ready(run):
    with pytest.raises(NotEnoughStock) as refused:
        order_of(run.product)

    day = timezone.localdate() + timedelta(days=7)
    told = f"10 pieces more are setting: ready from {day:%b} {day.day}, {day.year}."
    assert told in refused.value.message


def test_jars_that_are_said_to_be_ready_are_reserved(run):
    setting.ready_now(lot=run.packed_lot, said_by=builders.person())

    order = order_of(run.product)

    assert order.lines.get().reservations.get().balance.lot == run.packed_lot


def test_the_stand_shows_jars_that_set_apart_until_their_day(run):
    item, day = run.product.item_id, timezone.localdate() + timedelta(days=7)

    assert stand.pieces_at(run.target)[item] == (None, 10, day)

    Lot.objects.filter(pk=run.packed_lot.pk).update(ready_on=timezone.localdate())
    assert stand.pieces_at(run.target)[item] == (10, None, None)
