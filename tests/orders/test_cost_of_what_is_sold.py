"""What a sale had cost, by either method, and after a cost was corrected.

Moving average: 10 @ 91, 15 @ 106, sell 20, 20 @ 115, 10 @ 119, sell 23 (the figures of
tests/standards/test_textbook_costing.py, worked by hand): 2,500/25 = 100 each, so 20 cost 2,000;
then 500 + 2,300 + 1,190 = 3,990, /35 = 114 each, so 23 cost 2,622 and 12 are left at 1,368.
"""

from datetime import date

import pytest

from apiary_sales.orders.models import FulfilmentLine
from apiary_sales.orders.services import orders
from apiary_sales.reports.frames import stock as stock_frames
from inventory.bottling.queries import packed_stock
from inventory.stock.models import Lot, ProductionSettings
from inventory.stock.services import stores as stock_acts
from tests import builders

FIRST = date(2027, 1, 1)
LATER = date(2027, 6, 1)


@pytest.fixture
def average(db):
    ProductionSettings(cost_method=ProductionSettings.CostMethod.WEIGHTED_AVERAGE).save()


@pytest.fixture
def take(shop, owner, key):
    """Return a maker of an order for the shop."""

    def make(*lines):
        return orders.take(customer=shop, channel="shop", lines=lines, created_by=owner, key=key())

    return make


@pytest.fixture
def fulfil(owner, key):
    """Return a maker of a handover of all that is left of an order."""

    def make(order):
        return orders.fulfil(order=order, filled_by=owner, key=key())

    return make


@pytest.fixture
def sell(take, fulfil, jar_line):
    """Return a maker of a sale of jars that gives back what they had cost."""

    def make(pieces):
        done = fulfil(take(jar_line(pieces)))
        return sum(row.cost_cents for row in done.lines.all())

    return make


def test_first_in_first_out_takes_each_jar_at_the_cost_of_its_lot(sell, jars, shelf):
    builders.packed_lot(jars, shelf, 10, cost_cents=10 * 91_00, best_by=FIRST)
    builders.packed_lot(jars, shelf, 15, cost_cents=15 * 106_00, best_by=LATER)

    assert sell(20) == 1_970_00  # 10 × 91 + 10 × 106
    assert packed_stock.of(jars).value_cents == 5 * 106_00


def test_what_is_sold_and_what_is_left_are_worth_the_lot(sell, jars, shelf):
    """7 jars at 10.00: five sold one by one are worth 7.14, and the two left 2.86."""
    builders.packed_lot(jars, shelf, 7, cost_cents=1_000)

    assert sum(sell(1) for _ in range(5)) == 714
    assert packed_stock.of(jars).value_cents == 286


def test_weighted_average_is_what_the_house_chose_and_what_a_sale_costs(average, sell, jars, shelf):
    builders.packed_lot(jars, shelf, 10, cost_cents=10 * 91_00)
    builders.packed_lot(jars, shelf, 15, cost_cents=15 * 106_00)

    assert sell(20) == 2_000_00

    builders.packed_lot(jars, shelf, 20, cost_cents=20 * 115_00)
    builders.packed_lot(jars, shelf, 10, cost_cents=10 * 119_00)

    assert sell(23) == 2_622_00
    assert packed_stock.of(jars).value_cents == 1_368_00
    assert stock_frames.value(stock_frames.StockFilters())["value_cents"].sum() == 1_368_00


def test_at_the_average_no_cent_is_lost_or_made_until_a_product_has_run_out(
    average, sell, jars, shelf
):
    builders.packed_lot(jars, shelf, 3, cost_cents=100)
    builders.packed_lot(jars, shelf, 4, cost_cents=201)

    assert sum(sell(1) for _ in range(7)) == 301


def test_products_are_averaged_apart(average, sell, jars, shelf):
    builders.packed_lot(jars, shelf, 2, cost_cents=200)
    builders.packed_lot(builders.product("Quart"), shelf, 2, cost_cents=900)

    assert sell(1) == 100


def test_jars_that_are_taken_back_leave_the_average_as_it_was(
    average, take, fulfil, sell, jar_line, jars, shelf, owner, key
):
    builders.packed_lot(jars, shelf, 10, cost_cents=1_000)
    done = fulfil(take(jar_line(5)))
    builders.packed_lot(jars, shelf, 10, cost_cents=2_000)
    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="wrong shop")

    assert packed_stock.of(jars).value_cents == 3_000


def test_the_average_is_unknown_while_a_lot_without_a_cost_is_in_it(
    average, take, fulfil, sell, jar_line, jars, shelf
):
    builders.packed_lot(jars, shelf, 2, cost_cents=200)
    builders.packed_lot(jars, shelf, 2)

    done = fulfil(take(jar_line(4)))
    assert [row.cost_cents for row in done.lines.all()] == [None, None]

    builders.packed_lot(jars, shelf, 2, cost_cents=300)
    assert sell(1) == 150


def test_broken_jars_leave_at_the_average(average, sell, jars, shelf, owner, key):
    lot = builders.packed_lot(jars, shelf, 10, cost_cents=1_000)
    builders.packed_lot(jars, shelf, 10, cost_cents=3_000)
    stock_acts.write_off(
        item=jars.item,
        lot=lot,
        place=shelf,
        pieces=4,
        reason="breakage",
        recorded_by=owner,
        key=key(),
        note="dropped",
    )

    assert sell(1) == 200
    assert packed_stock.of(jars).value_cents == 15 * 200


def test_a_cost_set_anew_is_not_heaped_on_the_jars_that_are_left(
    take, fulfil, jar_line, jars, shelf
):
    """48 jars at 3.00; 46 sold; the season's bills make it 4.00: the next jar costs 4.00."""
    source = builders.lot_in(builders.place("tank-1"), 100_000, cost_cents=10_000)
    lot = builders.packed_lot(jars, shelf, 48, cost_cents=48 * 300, parent=source)
    sold = fulfil(take(jar_line(46))).lines.get()
    Lot.objects.filter(pk=lot.pk).update(cost_cents=48 * 400)

    later = [fulfil(take(jar_line(1))).lines.get().cost_cents for _ in range(2)]

    assert later == [400, 400]
    assert FulfilmentLine.objects.get(pk=sold.pk).cost_cents == 46 * 300


def test_a_cost_set_lower_never_makes_the_rest_cost_less_than_nothing(
    take, fulfil, jar_line, jars, shelf
):
    lot = builders.packed_lot(jars, shelf, 10, cost_cents=4_000)
    fulfil(take(jar_line(9)))
    Lot.objects.filter(pk=lot.pk).update(cost_cents=2_000)

    assert fulfil(take(jar_line(1))).lines.get().cost_cents == 200


def test_stock_at_the_average_is_read_in_five_queries(average, django_assert_num_queries, shelf):
    for number in range(5):
        builders.packed_lot(builders.product(f"Product {number}"), shelf, 10, cost_cents=1_000)

    with django_assert_num_queries(5):
        assert [product.value_cents for product in packed_stock.products()] == [1_000] * 5
