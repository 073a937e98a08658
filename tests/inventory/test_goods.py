"""Other goods: set up, received from a supplier, made of others, and what they cost then."""

from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.bottling.queries import packed_stock
from inventory.bottling.services import goods, reversals
from inventory.bottling.services.goods import Material
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    CannotReverse,
    NotEnoughStock,
    SeveralProblems,
)
from inventory.stock.models import Balance, Lot, Place, Posting, ProductionSettings
from inventory.stock.queries import books
from inventory.stock.services import stores
from tests import builders, data_layer
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf():
    return builders.place("shelf", Place.Kind.SHELF, name="Shelf")


@pytest.fixture
def candle():
    return builders.goods("Candle")


@pytest.fixture
def wax():
    return builders.goods("Wax", is_weighed=True)


def make(product, place, quantity=10, **fields):
    fields = {
        "made_on": builders.today(),
        "recorded_by": builders.person(),
        "key": builders.new_key(),
    } | fields
    return goods.make(product=product, place=place, quantity=quantity, **fields)


def undo(posting):
    return reversals.reverse(posting=posting, recorded_by=builders.person(), key=builders.new_key())


def in_stores(product):
    return packed_stock.of(product).on_hand


# ------------------------------------------------------------------ set up


def test_goods_are_in_pieces_or_by_weight(candle, wax):
    assert (candle.code, candle.item.is_weighed, candle.pieces_per_case) == ("candle", False, 1)
    assert (wax.code, wax.item.is_weighed, wax.declared_grams) == ("wax", True, 0)


def test_how_goods_are_kept_cannot_change_once_there_is_a_lot(candle, shelf):
    goods.save(name="Candle", is_weighed=True, product=candle)
    goods.save(name="Candle", is_weighed=False, product=candle)
    builders.goods_lot(candle, shelf)

    with pytest.raises(BadValue) as refused:
        goods.save(name="Candle", is_weighed=True, product=candle)

    assert refused.value.parameter == "is_weighed"
    assert str(refused.value) == (
        "There is stock of Candle in the books already, so this can't be changed. "
        "Add new goods, and take these out of use."
    )


def test_a_name_and_a_gtin_are_of_one_product_only(candle):
    builders.goods("Pollen", gtin="4006381333931")

    with pytest.raises(SeveralProblems) as refused:
        goods.save(name="candle", gtin="4006381333931")

    assert [problem.parameter for problem in refused.value.problems] == ["name", "gtin"]


# ------------------------------------------------------------------ receive


def test_goods_come_in_with_the_code_of_their_maker(candle, shelf):
    lot = builders.goods_lot(
        candle, shelf, 24, cost_cents=4_800, maker_lot="VW-7", supplier="Valley Wax Works"
    )

    assert (lot.kind, lot.code, lot.quantity_made, lot.cost_cents) == ("goods", "VW-7", 24, 4_800)
    assert (lot.moisture_percent, lot.product, lot.unit_cost_cents) == (None, candle, 200)
    posting = Posting.objects.get(kind="goods_receipt")
    assert posting.note == "Valley Wax Works"
    assert in_stores(candle) == 24
    assert list(books.faults()) == []


def test_goods_without_a_code_get_the_next_of_the_house(candle, wax, shelf):
    day = builders.today()

    codes = [builders.goods_lot(each, shelf).code for each in (candle, wax, candle)]

    assert codes == [f"G{day:%y%j}-1", f"G{day:%y%j}-2", f"G{day:%y%j}-3"]


def test_a_second_delivery_joins_its_lot_and_its_undoing_takes_it_off(candle, shelf):
    first = builders.goods_lot(candle, shelf, 10, cost_cents=1_000, maker_lot="VW-7")
    second = builders.goods_lot(candle, shelf, 20, cost_cents=2_600, maker_lot="VW-7")

    assert first == second
    assert (second.quantity_made, second.cost_cents) == (30, 3_600)

    undo(second.goods_receipts.get(quantity=20).posting)

    second.refresh_from_db()
    assert (second.quantity_made, second.cost_cents, in_stores(candle)) == (10, 1_000, 10)


def test_a_lot_that_came_again_after_it_was_undone_costs_what_came_again(candle, shelf):
    lot = builders.goods_lot(candle, shelf, 10, cost_cents=1_000, maker_lot="VW-7")
    undo(lot.goods_receipts.get().posting)

    lot = builders.goods_lot(candle, shelf, 4, cost_cents=480, maker_lot="VW-7")

    assert (lot.quantity_made, lot.cost_cents) == (4, 480)


def test_one_lot_has_one_day_of_best_by(candle, shelf):
    day = builders.today() + timedelta(days=300)
    builders.goods_lot(candle, shelf, maker_lot="VW-7", best_by=day)

    with pytest.raises(BadValue) as refused:
        builders.goods_lot(candle, shelf, maker_lot="VW-7", best_by=day + timedelta(days=1))

    assert refused.value.parameter == "best_by"


def test_a_code_of_the_maker_may_be_on_two_products(candle, wax, shelf):
    lots = [builders.goods_lot(each, shelf, maker_lot="VW-7") for each in (candle, wax)]

    assert [lot.what for lot in Lot.objects.bearing("VW-7").order_by("id")] == ["candle", "wax"]
    assert lots[0] != lots[1]


def test_what_cannot_come_in_is_told_all_at_once(shelf):
    jars, today = builders.product(), builders.today()

    with pytest.raises(SeveralProblems) as refused:
        goods.receive(
            product=jars,
            place=builders.place("tank"),
            quantity=0,
            cost_cents=-1,
            supplier="x" * 121,
            maker_lot="two words",
            best_by=today - timedelta(days=2),
            received_on=today + timedelta(days=1),
            recorded_by=builders.person(),
            key="key",
        )

    assert [problem.parameter for problem in refused.value.problems] == [
        "product",
        "quantity",
        "place",
        "cost_cents",
        "supplier",
        "received_on",
        "maker_lot",
        "best_by",
    ]
    assert not Posting.objects.exists()


def test_the_same_delivery_is_not_received_twice(candle, shelf):
    form = {
        "product": candle,
        "place": shelf,
        "quantity": 5,
        "cost_cents": 500,
        "supplier": "",
        "received_on": builders.today(),
        "recorded_by": builders.person(),
        "key": "once",
    }
    goods.receive(**form)

    with pytest.raises(AlreadyRecorded):
        goods.receive(**form)

    assert in_stores(candle) == 5


# ------------------------------------------------------------------ make


def test_candles_cost_their_wax_with_what_was_lost_their_wicks_and_the_work(shelf, candle, wax):
    ProductionSettings.objects.update_or_create(pk=1, defaults={"labour_cents_per_hour": 1_800})
    wick = builders.part("Wick")
    bottling_room.receive(wick, shelf, 100, 500)
    lot = builders.goods_lot(wax, shelf, 10_000, cost_cents=8_000)

    made = make(
        candle,
        shelf,
        12,
        materials=[Material(wax, 2_500, lost=100), Material(wick, 13, lost=1)],
        labour_minutes=40,
    )

    # 2,500 g of 10,000 g for 80.00 are 20.00; 13 wicks at 5 cents 0.65; 40 minutes at 18.00 12.00
    assert (made.materials_cents, made.labour_cents) == (2_065, 1_200)
    assert (made.lot.cost_cents, made.lot.quantity_made) == (3_265, 12)
    assert [(link.parent, link.grams) for link in made.lot.parent_links.all()] == [(lot, 2_500)]
    assert (in_stores(wax), in_stores(candle)) == (7_500, 12)
    spoiled = Balance.objects.filter(place__kind="spoiled")
    assert {(row.item, row.quantity) for row in spoiled} == {(wax.item, 100), (wick.item, 1)}
    assert list(books.faults()) == []


def test_the_oldest_lot_goes_in_first_and_what_is_held_does_not(shelf, candle, wax):
    days = [builders.today() + timedelta(days=days) for days in (10, 20, 30)]
    held, old, new = (
        builders.goods_lot(wax, shelf, 1_000, cost_cents=900, best_by=day) for day in days
    )
    Lot.objects.filter(pk=held.pk).update(is_on_hold=True)

    made = make(candle, shelf, materials=[Material(wax, 1_500)])

    links = made.lot.parent_links.order_by("id")
    assert [(link.parent, link.grams) for link in links] == [(old, 1_000), (new, 500)]


def test_goods_that_are_gathered_cost_the_work_or_nothing_known(shelf, wax):
    by_work = make(wax, shelf, 4_000, labour_minutes=0)
    unknown = make(wax, shelf, 4_000)

    assert (by_work.lot.cost_cents, unknown.lot.cost_cents) == (0, None)


def test_goods_of_a_material_without_a_cost_have_none(shelf, candle, wax):
    make(wax, shelf, 4_000)

    made = make(candle, shelf, materials=[Material(wax, 500)], labour_minutes=10)

    assert (made.materials_cents, made.lot.cost_cents) == (None, None)


def test_by_weighted_average_a_material_costs_the_average_of_what_is_there(shelf, candle, wax):
    ProductionSettings.objects.update_or_create(pk=1, defaults={"cost_method": "average"})
    builders.goods_lot(wax, shelf, 1_000, cost_cents=1_000)
    builders.goods_lot(wax, shelf, 3_000, cost_cents=5_000)

    made = make(candle, shelf, materials=[Material(wax, 1_000)])

    # 4,000 g for 60.00: 1.5 cents a gram
    assert made.lot.cost_cents == 1_500


def test_what_cannot_be_made_of_is_told_at_its_line(shelf, candle, wax):
    honey = builders.product()

    with pytest.raises(SeveralProblems) as refused:
        make(
            candle,
            shelf,
            materials=[
                Material(candle, 1),
                Material(honey, 1),
                Material(wax, 10, lost=11),
                Material(wax, 1),
            ],
        )

    assert [problem.parameter for problem in refused.value.problems] == [
        "materials.0.thing",
        "materials.1.thing",
        "materials.2.lost",
        "materials.3.thing",
    ]


def test_no_more_goes_in_than_there_is(shelf, candle, wax):
    builders.goods_lot(wax, shelf, 1_000)

    with pytest.raises(NotEnoughStock) as refused:
        make(candle, shelf, materials=[Material(wax, 1_001)])

    assert refused.value.parameter == "materials.0.quantity"
    assert in_stores(wax) == 1_000


def test_making_is_undone_while_the_goods_are_there(shelf, candle, wax):
    builders.goods_lot(wax, shelf, 1_000)
    made = make(candle, shelf, materials=[Material(wax, 1_000, lost=50)])
    sold = {"item": candle.item, "lot": made.lot, "place": shelf, "pieces": 1, "reason": "gift"}
    gift = stores.write_off(**sold, recorded_by=builders.person(), key="gift")

    with pytest.raises(CannotReverse):
        undo(made.posting)
    undo(gift)
    undo(made.posting)

    assert (in_stores(wax), in_stores(candle)) == (1_000, 0)
    assert list(books.faults()) == []


@settings(
    max_examples=data_layer.examples(15),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    lots=st.lists(st.tuples(st.integers(1, 5_000), st.integers(0, 9_999)), min_size=1, max_size=3),
    shares=st.lists(st.integers(1, 100), min_size=1, max_size=4),
)
def test_goods_that_use_up_their_materials_cost_together_what_those_did(shelf, lots, shares):
    wax = builders.goods(f"Wax {builders.new_key()}", is_weighed=True)
    candle = builders.goods(f"Candle {builders.new_key()}")
    for grams, cents in lots:
        builders.goods_lot(wax, shelf, grams, cost_cents=cents)
    left, costs = sum(grams for grams, _ in lots), []

    for number, share in enumerate(shares, start=1):
        used = left if number == len(shares) else left * share // 200
        if used:
            costs.append(make(candle, shelf, 3, materials=[Material(wax, used)]).lot.cost_cents)
        left -= used

    assert sum(costs) == sum(cents for _, cents in lots)
    assert in_stores(wax) == 0


def test_stock_by_product_has_honey_first_and_then_goods_with_their_figures(shelf, candle, wax):
    jars = builders.product()
    builders.packed_lot(jars, shelf, 12)
    builders.goods_lot(wax, shelf, 2_000, cost_cents=1_500)

    found = packed_stock.products()

    figures = [(each.product, each.on_hand, each.free, each.value_cents) for each in found]
    assert figures == [(jars, 12, 12, None), (candle, 0, 0, 0), (wax, 2_000, 2_000, 1_500)]
    assert [each.size for each in packed_stock.sizes()] == [jars.size]
