"""A recall counts an entry together with its corrections, and balances."""

from datetime import timedelta

import pytest

from apiary_sales.orders.queries import recall
from inventory.stock.models import Item, Lot, Place, Posting
from inventory.stock.queries import books
from inventory.stock.services import honey, ledger, others, stores
from inventory.stock.services.ledger import Line
from tests import builders
from tests.inventory import others_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def tank():
    return builders.place("tank-1", name="Tank 1")


@pytest.fixture
def other_tank():
    return builders.place("tank-2", name="Tank 2")


def account(lot: Lot) -> recall.LotAccount:
    [found] = recall.answer([lot.pk]).asked
    assert found.difference == 0
    assert list(books.faults()) == []
    return found


def correct(posting: Posting, *lines: Line) -> None:
    ledger.correct(
        posting=posting,
        lines=lines,
        recorded_by=builders.person("office"),
        key=builders.new_key(),
        note="Read the wrong line",
    )


def test_a_receipt_that_was_corrected_came_in_as_it_counts_now(tank):
    lot = builders.lot_in(tank, 500_000)
    bulk = Item.objects.honey()
    harvest = Place.objects.outside(Place.Kind.HARVEST)

    correct(
        Posting.objects.get(kind="extraction"),
        Line(bulk, harvest, lot, -480_000),
        Line(bulk, tank, lot, 480_000),
    )

    found = account(lot)
    assert (found.came_in, found.on_hand, found.into_lots) == (480_000, 480_000, 0)


def test_what_was_blended_before_a_late_entry_is_in_other_lots_as_it_counts_now(tank, other_tank):
    first = builders.lot_in(tank, 100_000)
    second = builders.lot_in(other_tank, 50_000, floral_source="Linden")
    # All of it went into the other tank, of which 10 kg were skimmed off before.
    honey.transfer(
        source=tank,
        target=other_tank,
        grams=None,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    honey.write_off(
        place=tank,
        grams=10_000,
        reason="spoilage",
        written_off_on=builders.today() - timedelta(days=3),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    found = account(first)
    assert (found.came_in, found.into_lots) == (100_000, 90_000)
    assert found.ways_out == {"spoiled": 10_000}
    found = account(second)
    assert (found.came_in, found.into_lots) == (50_000, 50_000)


def test_a_count_that_was_told_again_is_one_difference(shelf):
    candle = builders.goods()
    came_on = builders.today() - timedelta(days=9)
    lot = builders.goods_lot(candle, shelf, 48, received_on=came_on)
    what = {"item": candle.item, "lot": lot, "place": shelf, "recorded_by": builders.person()}
    stores.count(
        **what,
        counted=40,
        reason="Counted",
        counted_on=builders.today() - timedelta(days=2),
        key=builders.new_key(),
    )
    # Three of the eight had broken the day before.
    stores.write_off(
        **what,
        pieces=3,
        reason="breakage",
        written_off_on=builders.today() - timedelta(days=3),
        key=builders.new_key(),
    )

    found = account(lot)
    assert (found.lost, found.found) == (5, 0)
    assert found.ways_out == {"broken": 3, "count_difference": 5}
    assert found.on_hand == 40


def test_what_was_handed_back_is_told_as_it_counts_now(tank):
    owner = others_room.hanna()
    lot = others_room.bring(owner, tank, 300_000)
    posting = others_room.act(others.hand_back, place=tank, grams=100_000)
    bulk = Item.objects.honey()
    theirs = Place.objects.outside(Place.Kind.OWNER)

    correct(posting, Line(bulk, tank, lot, -80_000), Line(bulk, theirs, lot, 80_000))

    [row] = recall.answer([lot.pk]).handed_back
    assert row.quantity == 80_000
    assert account(lot).handed_back == 80_000


def test_a_corrected_sale_did_not_come_back(jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    customers = Place.objects.outside(Place.Kind.CUSTOMER)
    sold = ledger.post(
        kind=Posting.Kind.SALE,
        lines=ledger.move(item=jars.item, lot=lot, source=shelf, target=customers, quantity=12),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    correct(sold, Line(jars.item, shelf, lot, -10), Line(jars.item, customers, lot, 10))

    assert list(recall.answer([lot.pk]).back) == []


def test_an_entry_that_was_corrected_and_then_undone_leaves_no_trace(tank, other_tank):
    lot = builders.lot_in(tank, 100_000)
    gone = honey.write_off(
        place=tank,
        grams=10_000,
        reason="spoilage",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    bulk = Item.objects.honey()
    spoiled = Place.objects.outside(Place.Kind.SPOILED)
    correct(gone, Line(bulk, tank, lot, -8_000), Line(bulk, spoiled, lot, 8_000))

    ledger.reverse(posting=gone, recorded_by=builders.person(), key=builders.new_key())

    found = account(lot)
    assert (found.on_hand, found.ways_out) == (100_000, {})
