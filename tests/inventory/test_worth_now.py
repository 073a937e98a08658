"""What stock is worth now, from what is there, is what all entries come to."""

import pytest

from inventory.bottling import valuation
from inventory.bottling.services import delivery_corrections, reversals
from inventory.stock.models import Place, ProductionSettings
from inventory.stock.services import stores
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


def by_key(worth):
    return {(row.kind, row.item, row.lot): (row.quantity, row.cents) for row in worth}


@pytest.mark.parametrize("method", ProductionSettings.CostMethod.values)
def test_it_is_what_the_lines_of_the_ledger_say(method):
    """Runs at a third of a cent a lid, jars at two places, one part used up, one without a cost."""
    ProductionSettings(cost_method=method).save()
    room = bottling_room.set_up(pieces=200, cases=16)
    builders.lot_in(builders.place("tank-2"), 5_000, cost_cents=None)
    bottling_room.receive(room.lid, room.shelf, 300, 10_001)
    run = bottling_room.recorded(room)
    bottling_room.recorded(room)
    stand = builders.place("stand", Place.Kind.STAND)
    stores.transfer(
        item=room.product.item,
        lot=run.packed_lot,
        source=room.shelf,
        target=stand,
        pieces=7,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    now = by_key(valuation.worth_now())

    assert now == by_key(valuation.worth_on(None))
    assert now["part", room.lid.item_id, None][0] == 304
    assert None in [cents for _quantity, cents in now.values()]


def test_parts_that_were_corrected_and_then_undone_are_worth_nothing():
    """100 that cost 1.00 each, of which only 80 came, and then none."""
    shelf, jar = builders.place("shelf", Place.Kind.SHELF), builders.part()
    receipt = bottling_room.receive(jar, shelf, 100, 10_000)
    receipt = delivery_corrections.correct_parts(
        receipt=receipt,
        pieces=80,
        recorded_by=builders.person(),
        key=builders.new_key(),
        reason="Misread",
    )
    reversals.reverse(
        posting=receipt.posting, recorded_by=builders.person(), key=builders.new_key()
    )
    bottling_room.receive(jar, shelf, 10, 500)

    assert by_key(valuation.worth_on(None)) == {("part", jar.item_id, None): (10, 500)}
    assert by_key(valuation.worth_now()) == {("part", jar.item_id, None): (10, 500)}
