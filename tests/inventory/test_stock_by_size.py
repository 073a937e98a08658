"""Packed stock by size: on hand, reserved, free, on hold and worth."""

import pytest

from inventory.bottling.models import Product
from inventory.bottling.queries import packed_stock
from inventory.stock.models import Item, Place
from inventory.stock.services import ledger
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf():
    return builders.place("shelf", Place.Kind.SHELF, name="Shelf")


@pytest.fixture
def stand():
    return builders.place("stand", Place.Kind.STAND, name="Stand")


@pytest.fixture
def jars():
    return builders.product("One pound", low_stock_pieces=50)


def hold(lot) -> None:
    lot.is_on_hold = True
    lot.save()


def test_a_size_counts_its_lots_at_all_places(jars, shelf, stand):
    old = builders.packed_lot(jars, shelf, 48, cost_cents=9_600)
    new = builders.packed_lot(jars, stand, 12, cost_cents=3_000)

    size = packed_stock.of(jars)

    assert (size.on_hand, size.reserved, size.free, size.on_hold) == (60, 0, 60, 0)
    assert size.lots == {old: 48, new: 12}
    assert size.places == {shelf: 48, stand: 12}
    assert size.value_cents == 12_600


def test_what_is_promised_is_not_free(jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    ledger.reserve([ledger.ReservedStock(jars.item, shelf, lot, 30)])

    size = packed_stock.of(jars)

    assert (size.on_hand, size.reserved, size.free) == (48, 30, 18)


def test_what_has_no_label_yet_is_in_stock_but_not_free(jars, shelf):
    item = Item.objects.create(kind=Item.Kind.PACKED, name="One pound, without a label")
    bare = Product.objects.create(
        item=item, size=jars.size, code="bare", name=item.name, is_unlabelled=True
    )
    builders.packed_lot(jars, shelf, 48)
    builders.packed_lot(bare, shelf, 12)

    [size] = packed_stock.sizes()

    assert (size.on_hand, size.free) == (60, 48)
    assert not size.is_plain


def test_what_is_on_hold_is_not_free(jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    builders.packed_lot(jars, shelf, 12)
    ledger.reserve([ledger.ReservedStock(jars.item, shelf, lot, 30)])
    hold(lot)

    size = packed_stock.of(jars)

    assert (size.on_hand, size.reserved, size.on_hold, size.free) == (60, 30, 48, 12)


@pytest.mark.parametrize(("pieces", "is_low"), [(49, True), (50, False), (51, False)])
def test_a_size_is_low_when_fewer_are_free_than_it_says(jars, shelf, pieces, is_low):
    builders.packed_lot(jars, shelf, pieces)

    assert packed_stock.of(jars).is_low is is_low


def test_stock_of_unknown_cost_is_worth_nobody_knows_what(jars, shelf):
    builders.packed_lot(jars, shelf, 48, cost_cents=9_600)
    builders.packed_lot(jars, shelf, 12, cost_cents=None)

    assert packed_stock.of(jars).value_cents is None


def test_the_value_is_the_share_of_what_the_lot_cost(jars, shelf, stand):
    # 100 pieces for 10.01: 33 of them cost 3.3033, 67 cost 6.7067.
    lot = builders.packed_lot(jars, shelf, 100, cost_cents=1_001)
    ledger.post(
        kind="transfer",
        lines=ledger.move(item=jars.item, lot=lot, source=shelf, target=stand, quantity=33),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    size = packed_stock.of(jars)

    assert [(row.place, row.value_cents) for row in size.rows] == [(shelf, 671), (stand, 330)]
    assert size.value_cents == 1_001


def test_sizes_in_use_are_listed_without_stock_and_others_only_with_stock(jars, shelf):
    gone = builders.product("Tin", is_active=False)
    kept = builders.product("Crock", is_active=False)
    builders.packed_lot(kept, shelf, 3)

    listed = [row.product for row in packed_stock.products()]

    assert jars in listed
    assert kept in listed
    assert gone not in listed
    assert next(row for row in packed_stock.products() if row.product == jars).value_cents == 0


def test_what_was_sold_is_not_on_hand(jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    ledger.post(
        kind="sale",
        lines=ledger.move(
            item=jars.item,
            lot=lot,
            source=shelf,
            target=Place.objects.outside(Place.Kind.CUSTOMER),
            quantity=40,
        ),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    assert packed_stock.of(jars).on_hand == 8


def test_all_sizes_are_read_in_two_queries(django_assert_num_queries, shelf, stand):
    for number in range(5):
        size = builders.size(f"Size {number}")
        builders.packed_lot(size, shelf, 10)
        builders.packed_lot(size, stand, 10)

    with django_assert_num_queries(2):
        assert [size.on_hand for size in packed_stock.sizes()] == [20] * 5
