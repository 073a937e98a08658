"""Honey drawn from any vessel, and goods counted in grams: ordered, weighed out, taken back."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError
from django.template.loader import render_to_string
from hypothesis import given
from hypothesis import strategies as st

from apiary_sales.orders import papers
from apiary_sales.orders.models import Order, Weighing
from apiary_sales.orders.queries import books, trace
from apiary_sales.orders.queries.orders import for_page
from apiary_sales.orders.rules import weighing
from apiary_sales.orders.rules.lines import LineWanted, honey_cents
from apiary_sales.orders.rules.weighing import Weighed
from apiary_sales.orders.services import orders, quotes
from inventory.shared.errors import (
    BadValue,
    LotOnHold,
    NotEnoughHoney,
    NotEnoughStock,
    StockReserved,
)
from inventory.stock.models import Lot, Place
from tests import builders
from tests.orders.by_weight_room import honey_line, there, wax, wax_line, wax_lot


@pytest.fixture
def take(shop, owner, key):
    def make(*lines, **fields):
        return orders.take(
            customer=shop, channel="shop", lines=lines, created_by=owner, key=key(), **fields
        )

    return make


@pytest.fixture
def fulfil(owner, key):
    def make(order, **fields):
        return orders.fulfil(order=order, filled_by=owner, key=key(), **fields)

    return make


@given(
    grams=st.integers(min_value=1, max_value=50_000_000),
    price=st.integers(min_value=0, max_value=10_000_000),
)
def test_weight_times_price_is_the_amount_to_half_a_cent(grams, price):
    # 1 lb = 453.59237 g exactly (NIST Handbook 44, appendix C), so that in whole numbers
    # cents = grams × price × 100 000 × 100 / (45 359 237 × 10 000), half a cent up.
    numerator, denominator = grams * price * 1_000, 45_359_237

    cents = honey_cents(grams, Decimal(price).scaleb(-4))

    assert cents == (2 * numerator + denominator) // (2 * denominator)


@pytest.mark.parametrize("kind", [Place.Kind.TANK, Place.Kind.PAIL, Place.Kind.TOTE])
def test_honey_is_sold_by_the_pound_from_any_vessel(kind, take, fulfil):
    vessel = builders.place("vessel", kind)
    lot = builders.lot_in(vessel, 100_000, cost_cents=40_000)
    # 27 216 g / 453.59237 × 4.00 = 240.004…
    order = take(honey_line(vessel, 27_216))

    done = fulfil(order)

    [row] = done.lines.all()
    assert (row.lot, row.quantity, row.amount_cents) == (lot, 27_216, 24_000)
    # 27 216 / 100 000 of 400.00
    assert row.cost_cents == 10_886
    assert there(vessel) == (72_784, 0)
    assert list(books.faults()) == []


def test_honey_drawn_from_a_drum_leaves_the_drum_here(full_drum, take, fulfil):
    drum = full_drum(7)

    fulfil(take(honey_line(drum, 10_000)))

    drum.refresh_from_db()
    assert drum.is_active
    assert there(drum) == (285_000, 0)


def test_honey_of_a_reserved_drum_is_not_drawn(full_drum, drum_line, take, fulfil):
    drum = full_drum(7)
    order = take(honey_line(drum, 10_000))
    take(drum_line(drum))

    with pytest.raises(StockReserved):
        fulfil(order)

    with pytest.raises(NotEnoughHoney):
        take(honey_line(drum, 10_000))


def test_honey_on_hold_is_not_drawn(take, fulfil):
    tank = builders.place("tank")
    lot = builders.lot_in(tank, 100_000)
    order = take(honey_line(tank, 10_000))
    Lot.objects.filter(pk=lot.pk).update(is_on_hold=True, hold_reason="Smoky")

    with pytest.raises(LotOnHold, match="can't be sold: Smoky"):
        fulfil(order)


def test_the_weight_that_is_found_is_billed(take, fulfil):
    tank = builders.place("tank")
    builders.lot_in(tank, 100_000)
    order = take(honey_line(tank, 27_216))
    line = order.lines.get()

    done = fulfil(order, weighed={line.pk: weighing.on_scale(gross_grams=29_000, tare_grams=1_100)})

    line.refresh_from_db()
    order.refresh_from_db()
    row = done.lines.get()
    # 27 900 g / 453.59237 × 4.00 = 246.035…
    assert (line.ordered, line.quantity, line.amount_cents) == (27_216, 27_900, 24_604)
    assert (row.quantity, row.amount_cents) == (27_900, 24_604)
    assert (row.weighing.gross_grams, row.weighing.tare_grams) == (29_000, 1_100)
    assert order.status == Order.Status.FILLED
    assert there(tank) == (72_100, 0)
    assert list(books.faults()) == []


@pytest.mark.parametrize(
    ("net_grams", "status", "left"),
    [
        (9_499, Order.Status.PART_FILLED, 501),
        (9_500, Order.Status.FILLED, 0),
        (10_500, Order.Status.FILLED, 0),
    ],
)
def test_a_weight_within_a_twentieth_counts_as_all(net_grams, status, left, take, fulfil):
    tank = builders.place("tank")
    builders.lot_in(tank, 100_000)
    order = take(honey_line(tank, 10_000))
    line = order.lines.get()

    fulfil(order, weighed={line.pk: Weighed(net_grams)})

    order.refresh_from_db()
    line.refresh_from_db()
    assert (order.status, line.to_fill) == (status, left)
    assert list(books.faults()) == []


def test_a_weight_beyond_a_twentieth_is_refused_in_words(take, fulfil):
    tank = builders.place("tank", name="Tank 1")
    builders.lot_in(tank, 100_000)
    order = take(honey_line(tank, 10_000, description="Tank 1: Clover"))
    line = order.lines.get()

    with pytest.raises(BadValue) as refused:
        fulfil(order, weighed={line.pk: Weighed(10_501)})

    assert refused.value.parameter == f"weighed.{line.pk}"
    assert str(refused.value) == (
        "Too much of Tank 1: Clover. Weighed: 23.2 lb. Left to hand over: 22.0 lb. A weight up to "
        "5 % above that counts as all of it. Take the rest back, or make a new order for what is "
        "over."
    )


@pytest.mark.parametrize("tare", [-1, 5_000, 5_001])
def test_a_container_must_weigh_less_than_what_is_in_it_with_it(tare, take, fulfil):
    tank = builders.place("tank")
    builders.lot_in(tank, 100_000)
    order = take(honey_line(tank, 5_000))
    line = order.lines.get()
    weighed = weighing.on_scale(gross_grams=5_000, tare_grams=tare)

    with pytest.raises(BadValue, match="must weigh more than the empty one"):
        fulfil(order, weighed={line.pk: weighed})


def test_honey_weighed_out_and_taken_back_is_in_its_vessel_and_to_fill(take, fulfil, owner, key):
    tank = builders.place("tank")
    builders.lot_in(tank, 100_000)
    order = take(honey_line(tank, 27_216))
    done = fulfil(order, weighed={order.lines.get().pk: Weighed(27_900)})

    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="Wrong honey")

    order.refresh_from_db()
    assert order.status == Order.Status.OPEN
    assert order.lines.get().to_fill == 27_900
    assert there(tank) == (100_000, 0)
    assert list(books.faults()) == []


def test_part_of_a_drum_comes_back_into_the_drum(full_drum, take, fulfil, owner, key):
    drum = full_drum(7)
    done = fulfil(take(honey_line(drum, 10_000)))

    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="Wrong honey")

    assert there(drum) == (295_000, 0)


def test_goods_by_weight_are_reserved_oldest_lot_first(shelf, take):
    product = wax()
    wax_lot(product, shelf, 2_000, code="W-2", made_on=date(2026, 7, 1))
    wax_lot(product, shelf, 3_000, code="W-1", made_on=date(2026, 6, 1))

    order = take(wax_line(product, 3_500))

    [line] = order.lines.all()
    # 3 500 g / 453.59237 × 9.50 = 73.303…
    assert line.amount_cents == 7_330
    promised = {row.lot.code: row.quantity for row in line.reservations.all()}
    assert promised == {"W-1": 3_000, "W-2": 500}
    assert there(shelf) == (5_000, 3_500)
    assert list(books.faults()) == []


@pytest.mark.parametrize(
    ("net_grams", "amount_cents"),
    # × 9.50 / 453.59237: 71.209… and 75.398…
    [(3_400, 7_121), (3_600, 7_540)],
)
def test_goods_weighed_out_a_little_off_leave_no_reservation(
    net_grams, amount_cents, shelf, take, fulfil
):
    product = wax()
    wax_lot(product, shelf, 3_000, code="W-1", cost_cents=3_000)
    wax_lot(product, shelf, 2_000, code="W-2", cost_cents=4_000, made_on=date(2026, 7, 1))
    order = take(wax_line(product, 3_500))

    done = fulfil(order, weighed={order.lines.get().pk: Weighed(net_grams)})

    rows = {row.lot.code: (row.quantity, row.cost_cents) for row in done.lines.all()}
    beyond = net_grams - 3_000
    assert rows == {"W-1": (3_000, 3_000), "W-2": (beyond, 2 * beyond)}
    assert sum(row.amount_cents for row in done.lines.all()) == amount_cents
    assert there(shelf) == (5_000 - net_grams, 0)
    assert list(books.faults()) == []


def test_goods_by_weight_beyond_what_is_free_are_refused_in_pounds(shelf, take):
    product = wax()
    wax_lot(product, shelf, 2_000)

    with pytest.raises(NotEnoughStock) as refused:
        take(wax_line(product, 2_001))

    # 2 001 g / 453.59237 = 4.411…
    assert str(refused.value) == (
        "Not enough Beeswax. Asked for: 4.411 lb. Free: 4.409 lb. Take less."
    )


@pytest.mark.parametrize("is_weighed", [True, False])
def test_goods_are_sold_in_the_unit_they_are_counted_in(is_weighed, jars, take):
    product = wax() if is_weighed else jars
    kind = "packed" if is_weighed else "weighed"
    line = LineWanted(kind, 3, Decimal(1), product=product)

    with pytest.raises(BadValue, match=r"is sold by (weight, not by the piece|the piece, not)"):
        take(line)


def test_the_trace_names_who_got_goods_by_weight_in_grams(shelf, shop, take, fulfil):
    product = wax()
    lot = wax_lot(product, shelf, 2_000)
    fulfil(take(wax_line(product, 500)))

    [row] = trace.sale_rows(trace.named(Lot.objects.family_keys([lot.pk])))

    assert (row.customer, row.sold, row.is_weighed) == (shop.pk, 500, True)


def test_a_gallon_of_honey_at_the_moisture_limit_weighs_eleven_pounds_twelve_ounces():
    # United States Standards for Grades of Extracted Honey (1985), table of soluble solids: 81.4 %
    # solids (18.6 % moisture) is 11 lb 12 oz a gallon at 68 °F; from memory. The ounce is rounded.
    tank = Lot(kind=Lot.Kind.EXTRACTION, moisture_percent=Decimal("18.6"))

    weighed = weighing.by_volume(Decimal("3.785411784"), lot=tank, celsius=Decimal(20))

    assert abs(weighed.net_grams - Decimal("11.75") * Decimal("453.59237")) < 15
    assert weighed.uncertainty_grams > 0


def test_honey_to_be_drawn_is_quoted_by_its_weight(packer, owner, key):
    tank = builders.place("tank", name="Tank 1")
    builders.lot_in(tank, 100_000)
    offered = quotes.quote(
        customer=packer,
        lines=[honey_line(tank, 27_216, description="Tank 1: Clover")],
        valid_until=builders.today(),
        created_by=owner,
        key=key(),
    )

    order = quotes.accept(order=offered, accepted_by=owner, key=key())
    quoted = for_page().get(pk=offered.pk)
    paper = render_to_string("documents/quote.html", papers.quote_context(quoted))

    assert order.status == Order.Status.OPEN
    assert there(tank) == (100_000, 0)
    assert "Tank 1: Clover" in paper
    assert "mm Pfund" not in paper


@pytest.mark.django_db
@pytest.mark.parametrize(
    "figures",
    [
        {"net_grams": 900},
        {"net_grams": 900, "gross_grams": 1_000, "tare_grams": 99},
        {"net_grams": 900, "gross_grams": 1_000},
        {"net_grams": 900, "millilitres": 700},
    ],
)
def test_the_database_keeps_no_weighing_that_does_not_add_up(figures):
    with pytest.raises(IntegrityError, match="weighing_is_by_scale_or_volume"):
        Weighing.objects.create(**figures)


def test_the_pick_list_names_the_honey_and_lot_to_draw(take):
    pail = builders.place("pail", Place.Kind.PAIL, name="Pail 1")
    lot = builders.lot_in(pail, 20_000, floral_source="Buckwheat")
    order = for_page().get(pk=take(honey_line(pail, 4_536)).pk)

    paper = render_to_string("documents/pick_list.html", papers.pick_list_context(order))

    said = " ".join(paper.replace("\N{NO-BREAK SPACE}", " ").split())
    assert f"Buckwheat, lot {lot.code}" in said
