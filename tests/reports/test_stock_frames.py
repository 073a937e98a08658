"""What the stock is worth and what does not move, worked out by hand."""

from datetime import date, timedelta

import pandas as pd
import pytest
import time_machine

from apiary_sales.reports.frames import stock
from apiary_sales.reports.frames.stock import GoneFilters, StockFilters
from inventory.bottling.queries import packed_stock as stock_now
from inventory.bottling.services import returned_jars, reversals
from inventory.stock.models import Place, Shortage
from inventory.stock.services import honey
from inventory.stock.services import stores as stock_acts
from tests import builders
from tests.inventory import bottling_room
from tests.reports import conftest as made

NEXT_DAY = made.NOON + timedelta(days=1)

pytestmark = pytest.mark.django_db


def by_name(frame, value):
    return {
        name: None if pd.isna(figure) else int(figure)
        for name, figure in zip(frame["name"], frame[value], strict=True)
    }


def pieces(*, on):
    return by_name(stock.value(StockFilters(on=on)), "pieces")


def test_the_value_of_stock_is_each_lots_share_of_its_cost(house):
    """One pound jars: 100 − 10 − 24 = 66 (five came back) of 100 that cost 30,000: 19,800 cents.

    Three pound jars: 38, cost unknown. The drum is sold.
    """
    found = stock.value(StockFilters())

    assert by_name(found, "pieces") == {"P25-001": 66, "P26-001": 38}
    assert by_name(found, "value_cents") == {"P25-001": 19_800, "P26-001": None}
    # 66 lb = 29,937.1 g; 38 × 3 lb = 51,709.5 g.
    assert by_name(found, "grams") == {"P25-001": 29_937, "P26-001": 51_710}


def test_honey_jars_and_parts_come_in_this_order():
    """200,000 g cost 100,000 cents; the run drew 45,000 g: 155,000 g at half a cent are left.

    98 jars and lids (broken ones too) and 8 cases of 500, 500 and 50 are used up:
    402 × 60, 402 × 15 and 42 × 90 cents.
    """
    room = bottling_room.set_up()
    run = bottling_room.recorded(room)

    found = stock.value(StockFilters())

    assert found["kind"].tolist() == ["honey", "packed", "part", "part", "part"]
    values = by_name(found, "value_cents")
    assert values[room.lot.code] == 77_500
    assert values[run.packed_lot.code] == run.packed_lot.cost_cents
    assert (values["Jar"], values["Lid"], values["Case"]) == (24_120, 6_030, 3_780)


def test_the_stock_of_a_day_is_what_was_posted_by_its_end(house):
    """Today 66 and 38 jars are left; 20 and 38 when 46 of the first were sold tomorrow."""
    with time_machine.travel(NEXT_DAY):
        made.sell(house.stand, made.jars(house.pounds, 46, "8.00"), on=NEXT_DAY.date())

        assert pieces(on=made.TODAY) == {"P25-001": 66, "P26-001": 38}
        assert pieces(on=NEXT_DAY.date()) == {"P25-001": 20, "P26-001": 38}
        assert pieces(on=None) == {"P25-001": 20, "P26-001": 38}
    # The honey of the drum was extracted on 2026-07-20; before that there was nothing.
    assert by_name(stock.value(StockFilters(on=date(2026, 7, 20))), "grams") == {"26-E01": 295_000}
    assert pieces(on=date(2026, 7, 19)) == {}


def test_jars_carried_after_they_were_sold_are_counted_once_over_all_places():
    """96 filled on the 1st, 4 sold at the stand on the 10th, carried there on the 20th: 92 left.

    The parts came on the 20th too, so what the run used of them is to be settled: none are left,
    and none are below nothing.
    """
    room = bottling_room.set_up()
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    run = bottling_room.recorded(room, bottled_on=date(2026, 11, 1))
    stock_acts.transfer(
        item=room.product.item,
        lot=run.packed_lot,
        source=room.shelf,
        target=stand,
        pieces=10,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    made.sell(stand, made.jars(room.product, 4, "8.00"), on=date(2026, 11, 10))

    found = stock.value(StockFilters(on=date(2026, 11, 10)))

    assert by_name(found, "pieces") == {room.lot.code: None, run.packed_lot.code: 92}
    assert stock.below_nothing(found) == []
    short = {row.item.name: row.quantity for row in Shortage.objects.open().select_related("item")}
    assert short == {"Jar": 98, "Lid": 98, "Case": 8}


def test_the_stock_of_today_by_its_lines_is_that_of_the_balances(house):
    today = stock.value(StockFilters(on=made.TODAY))

    pd.testing.assert_frame_equal(today, stock.value(StockFilters()))


def test_the_value_by_lot_agrees_with_the_stock_by_product(house):
    shelf = builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    builders.packed_lot(house.pounds, shelf, 7, code="P26-009", cost_cents=1_003)

    found = stock.value(StockFilters(kind="packed"))

    products = {row.product.name: row for row in stock_now.products()}
    assert products["Pound jar"].value_cents == 19_800 + 1_003
    assert found["value_cents"].sum() == 19_800 + 1_003


@pytest.mark.parametrize(
    ("filters", "names"),
    [
        ({"kind": "packed"}, ["P25-001", "P26-001"]),
        ({"kind": "honey"}, []),
        ({"season": "2025"}, ["P25-001"]),
    ],
)
def test_filters_of_stock_leave_out_the_rest(house, filters, names):
    assert stock.value(StockFilters(**filters))["name"].tolist() == names


def test_a_lot_is_slow_when_nothing_left_for_so_many_days(house):
    """The last one pound jars that stayed sold went on 2026-08-20, 92 days before 2026-11-20."""
    found = stock.slow(StockFilters(days=92))

    assert by_name(found, "idle_days") == {"P25-001": 92, "P26-001": 92}
    assert found["left_on"].tolist() == [date(2026, 8, 20)] * 2
    assert len(stock.slow(StockFilters(days=93))) == 0


def test_a_lot_never_touched_is_idle_since_it_was_made(house):
    tank = builders.place("tank-9", name="Tank 9")
    lot = builders.lot_in(tank, 90_000)

    found = stock.slow(StockFilters(days=100))

    # Extracted on 2026-07-20: 11 + 31 + 30 + 31 + 20 = 123 days.
    assert by_name(found, "idle_days") == {lot.code: 123}
    assert found["left_on"].tolist() == [None]


def test_pouring_honey_into_another_tank_does_not_make_it_move(house):
    tank, other = builders.place("tank-8"), builders.place("tank-9")
    lot = builders.lot_in(tank, 90_000)

    honey.transfer(
        source=tank,
        target=other,
        grams=40_000,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    assert by_name(stock.slow(StockFilters(days=100)), "grams") == {lot.code: 90_000}


def test_packaging_is_not_among_slow_stock():
    bottling_room.set_up()

    found = stock.slow(StockFilters(days=1))

    assert found["kind"].tolist() == ["honey"]


@pytest.mark.parametrize(
    ("make", "filters", "queries"),
    [
        # Balances or lines, lots with their products, the method of cost, parts; of parts what came
        # in and moved.
        (stock.value, StockFilters(), 8),
        # What is closed (two), lots, the method, of parts what came in and moved, lines; lots and
        # parts.
        (stock.value, StockFilters(on=made.TODAY), 11),
        # Balances, lots, the method of cost, and when they moved last.
        (stock.slow, StockFilters(), 4),
    ],
)
def test_stock_takes_the_same_number_of_queries(
    house, make, filters, queries, django_assert_num_queries
):
    for _number in range(3):
        builders.packed_lot(house.pounds, house.stand, 12)
        bottling_room.receive(builders.part(f"Jar {_number}"), house.stand, 10, 600)

    with django_assert_num_queries(queries):
        make(filters)


def test_what_came_back_and_is_undecided_is_no_stock_in_the_report_nor_on_the_page(house):
    lot = house.known
    before = stock.value(StockFilters())["value_cents"].sum()
    returned_jars.set_aside(
        lot=lot,
        place=house.stand,
        pieces=6,
        reason="Came back warm",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    after = stock.value(StockFilters())

    # 66 − 6 jars; each is 1/100 of 300.00.
    assert by_name(after, "pieces")[lot.code] == 60
    assert stock_now.of(house.pounds).on_hand == 60
    assert before - after["value_cents"].sum() == 6 * 300


# ------------------------------------------------------------------ what is gone


def gone_house():
    """100,000 g of honey that cost 50,000 cents, and 500 lids that cost 15 cents each."""
    tank, shelf = builders.place("tank-1"), builders.place("shelf", Place.Kind.SHELF)
    lot = builders.lot_in(tank, 100_000, cost_cents=50_000)
    lid = builders.part("Lid", "lid")
    bottling_room.receive(lid, shelf, 500, 7_500)
    return tank, shelf, lot, lid


def write_off(tank, grams, reason):
    return honey.write_off(
        place=tank,
        grams=grams,
        reason=reason,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )


def test_what_is_gone_is_told_by_reason_with_its_cost():
    tank, shelf, lot, lid = gone_house()
    write_off(tank, 2_000, "skimming")
    write_off(tank, 1_000, "skimming")
    write_off(tank, 500, "sample")
    reversals.reverse(
        posting=write_off(tank, 9_000, "spill"),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    stock_acts.count(
        item=lid.item,
        lot=None,
        place=shelf,
        counted=510,
        reason="counted",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    found = stock.gone(GoneFilters())

    assert found[["reason", "name", "grams", "pieces", "value_cents"]].values.tolist() == [
        ["skimmings", lot.code, 3_000, pd.NA, 1_500],
        ["sampled", lot.code, 500, pd.NA, 250],
        ["count_difference", "Lid", pd.NA, -10, -150],
    ]
    assert by_name(stock.gone(GoneFilters(reason="sampled")), "grams") == {lot.code: 500}


def test_what_is_gone_counts_on_its_day():
    tank, _shelf, lot, _lid = gone_house()
    write_off(tank, 2_000, "skimming")
    tomorrow = builders.today() + timedelta(days=1)

    assert stock.gone(GoneFilters(since=tomorrow)).empty
    assert by_name(stock.gone(GoneFilters(until=builders.today())), "grams") == {lot.code: 2_000}
