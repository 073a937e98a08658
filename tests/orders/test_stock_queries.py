"""Stock by product as selling sees it, and the trace from a lot to its buyers."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.queries import orders as order_queries
from apiary_sales.orders.queries import stock, trace
from apiary_sales.orders.services import orders
from inventory.bottling.models import BottlingRun
from inventory.stock.forms.amounts import AmountField
from inventory.stock.models import Lot
from tests import builders
from tests.orders.by_weight_room import wax, wax_lot

pytestmark = pytest.mark.django_db


@pytest.fixture
def sell(shop, owner, key):
    """Return a maker of filled shop orders."""

    def make(*lines, days_ago=0, customer=None):
        day = timezone.localdate() - timedelta(days=days_ago)
        order = orders.take(
            customer=customer or shop,
            channel="shop",
            lines=lines,
            placed_on=day,
            created_by=owner,
            key=key(),
        )
        return orders.fulfil(order=order, filled_on=day, filled_by=owner, key=key())

    return make


def test_cover_is_what_is_free_over_the_sales_of_four_weeks(sell, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 100)
    sell(jar_line(14), days_ago=27)
    sell(jar_line(14))

    product = stock.of(jars)

    assert product.sold_lately == 28
    assert product.days_of_cover == 72  # 72 free ÷ (28 in 28 days)


def test_sales_of_longer_ago_do_not_count(sell, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 100)
    sell(jar_line(14), days_ago=28)

    product = stock.of(jars)

    assert (product.sold_lately, product.days_of_cover) == (0, None)


def test_goods_taken_back_are_no_sale(sell, jar_line, jars, shelf, owner, key):
    builders.packed_lot(jars, shelf, 100)
    done = sell(jar_line(14))
    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="wrong shop")

    assert stock.of(jars).sold_lately == 0


def test_reserved_pieces_are_wanted_and_planned_runs_are_on_order(
    jar_line, jars, shelf, shop, owner, key
):
    builders.packed_lot(jars, shelf, 100)
    order = orders.take(
        customer=shop, channel="shop", lines=[jar_line(30)], created_by=owner, key=key()
    )
    BottlingRun.objects.create(
        number="26-R01",
        product=jars,
        source=builders.place("t1"),
        target=shelf,
        pieces_planned=240,
        idempotency_key=key(),
    )

    product = stock.of(jars)

    assert (product.stock.on_hand, product.stock.reserved, product.stock.free) == (100, 30, 70)
    assert (product.wanted, product.wanted_beyond, product.coming) == (30, 0, 240)
    assert [row.line.order for row in stock.reserved_for(jars)] == [order]
    assert [run.number for run in stock.planned_runs(jars)] == ["26-R01"]


def test_a_product_is_low_below_its_own_limit(jars, shelf):
    jars.low_stock_pieces = 20
    jars.save()
    builders.packed_lot(jars, shelf, 20)

    assert stock.of(jars).stock.is_low is False

    jars.low_stock_pieces = 21
    jars.save()

    assert stock.of(jars).stock.is_low is True


@pytest.mark.parametrize("products", [1, 12])
def test_stock_is_read_in_the_same_number_of_queries(
    django_assert_max_num_queries, shelf, products
):
    for number in range(products):
        builders.packed_lot(builders.product(f"Product {number}"), shelf, 10)

    # A form of an order does not ask how long stock lasts, so past sales are not read for it.
    with django_assert_max_num_queries(5):
        found = stock.products()
    with django_assert_max_num_queries(4):
        assert [each.season_cover for each in found] == [None] * products


def test_an_extraction_is_traced_to_everybody_who_has_it(sell, jar_line, jars, shelf, packer):
    tank = builders.place("t1")
    extraction = builders.lot_in(tank, 500_000)
    other = builders.lot_in(builders.place("t2"), 500_000)
    packed = builders.packed_lot(jars, shelf, 48, parent=extraction)
    sell(jar_line(10))
    sell(jar_line(5), customer=packer)

    rows = trace.sale_rows(trace.named(Lot.objects.family_keys([extraction.pk])))

    assert [(row.name, row.lot, row.sold) for row in rows] == [
        ("Corner Grocery", packed.code, 10),
        ("Prairie Packers", packed.code, 5),
    ]
    assert trace.sale_rows(trace.named(Lot.objects.family_keys([packed.pk]))) == rows
    assert trace.sale_rows(trace.named(Lot.objects.family_keys([other.pk]))) == []


def test_who_brought_goods_back_is_still_named(sell, jar_line, jars, shelf, owner, key):
    lot = builders.packed_lot(jars, shelf, 48)
    done = sell(jar_line(10))
    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="wrong shop")

    [row] = trace.sale_rows(trace.named(Lot.objects.family_keys([lot.pk])))

    assert (row.name, row.sold, row.came_back, row.still_out) == ("Corner Grocery", 10, 10, 0)


def test_a_drum_is_traced_to_its_buyer(full_drum, drum_line, packer, owner, key):
    drum = full_drum(7)
    order = orders.take(
        customer=packer, channel="bulk", lines=[drum_line(drum)], created_by=owner, key=key()
    )
    lot = order.lines.get().lot
    orders.fulfil(order=order, filled_by=owner, key=key())

    [row] = trace.sale_rows(trace.named(Lot.objects.family_keys([lot.pk])))

    assert (row.customer, row.sold, row.is_weighed) == (packer.pk, 295_000, True)


def test_open_orders_are_counted_less_what_is_handed_over(jar_line, jars, shelf, shop, owner, key):
    builders.packed_lot(jars, shelf, 100)
    order = orders.take(
        customer=shop, channel="shop", lines=[jar_line(30)], created_by=owner, key=key()
    )
    assert OrderLine.objects.open_cents(shop) == 19_500

    orders.fulfil(order=order, quantities={order.lines.get().pk: 10}, filled_by=owner, key=key())

    assert OrderLine.objects.open_cents(shop) == 13_000


def test_a_list_says_what_is_on_each_order(
    jar_line, drum_line, full_drum, jars, shelf, shop, owner, key
):
    builders.packed_lot(jars, shelf, 100)
    orders.take(
        customer=shop,
        channel="shop",
        lines=[jar_line(30), drum_line(full_drum(7)), drum_line(full_drum(8))],
        wanted_on=timezone.localdate(),
        created_by=owner,
        key=key(),
    )

    [row] = order_queries.rows(order_queries.to_fill())
    [later] = order_queries.rows(
        order_queries.to_fill(), on=timezone.localdate() + timedelta(days=1)
    )

    # 2 × 295 kg = 1,300.7 lb
    assert row.goods == "30 One pound, 2 drums, 1,301 lb"
    assert (row.is_late, later.is_late) == (False, True)


def test_the_stock_pages_say_goods_by_weight_in_pounds(client, owner, shelf):
    product = wax()
    product.low_stock_pieces = 4_536
    product.save()
    wax_lot(product, shelf, 2_268)
    client.force_login(owner)

    listed = client.get("/selling/stock/").content.decode()
    opened = client.get("/selling/stock/beeswax/").content.decode()

    # 2 268 / 453.59237 = 5.00, and 4 536 / 453.59237 = 10.00
    for page in (listed, opened):
        assert "5.00 lb" in page.replace("\N{NO-BREAK SPACE}", " ")
        assert "2,268" not in page
    assert "Less than 10.00 lb is free." in opened.replace("\N{NO-BREAK SPACE}", " ")
    assert "Plan a run" not in opened


def test_a_fraction_of_pieces_asks_for_a_unit_of_weight():
    with pytest.raises(ValidationError) as refused:
        AmountField(label="How much").clean(["2.5", "pieces"])

    assert refused.value.messages == ["Enter a whole number of pieces, or choose a unit of weight."]
