"""Comb honey: harvested by the piece or by weight, cut, and put into jars of liquid honey."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.bottling.models import Product
from inventory.bottling.rules import filling, forms_of_honey
from inventory.bottling.rules.filling import Shares
from inventory.bottling.rules.forms_of_honey import Addition
from inventory.bottling.services import comb, costs, jars, reversals
from inventory.shared.errors import BadValue, LotOnHold, NotEnoughStock
from inventory.stock.models import Balance, Item, Lot, Place, Posting
from inventory.stock.services import stores
from tests import builders
from tests.inventory import bottling_room, forms_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return bottling_room.set_up()


@pytest.fixture
def bulk_comb():
    return forms_room.comb_by_weight()


def cut(room, lot, **changes):
    """Ten squares of 300 g from 4,000 g of comb, 200 g lost and 700 g drained into a pail."""
    told = {
        "comb": Balance.objects.of_lot_at(lot, room.shelf),
        "comb_grams": 4_000,
        "pieces": 10,
        "target": room.shelf,
        "loss_grams": 200,
        "drained_grams": 700,
        "moisture_percent": Decimal("17.8"),
        "recorded_by": builders.person(),
        "key": builders.new_key(),
    }
    if "product" not in changes:
        told["product"] = forms_room.comb_by_piece()
    if "vessel" not in changes:
        told["vessel"] = builders.place("drip-pail", Place.Kind.PAIL, name="Drip pail")
    return comb.cut(**(told | changes))


def test_comb_by_the_piece_comes_from_the_hives_without_a_vessel(room):
    product = forms_room.comb_by_piece()

    lot = forms_room.comb_at(room.shelf, product, 24, lot_code="COMB-1")

    assert (lot.code, lot.kind, lot.moisture_percent) == ("COMB-1", "packed", None)
    posting = lot.lines.first().posting
    assert posting.kind == Posting.Kind.COMB_HARVEST
    assert forms_room.there(lot, Place.objects.outside(Place.Kind.HARVEST)) == -24
    assert forms_room.there(lot, room.shelf) == 24


def test_comb_is_harvest_of_its_season_but_no_extraction(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 5_000)
    undone = forms_room.comb_at(room.shelf, bulk_comb, 1_000)
    reversals.reverse(
        posting=undone.lines.first().posting,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    assert list(Lot.objects.comb_harvested_in(2026)) == [lot]
    assert list(Lot.objects.extracted_in(2026)) == [room.lot]


def test_only_comb_is_received_as_comb(room):
    with pytest.raises(BadValue, match=r"^One pound is not comb honey\.$") as refused:
        forms_room.comb_at(room.shelf, room.product, 5)

    assert refused.value.parameter == "product"


def test_comb_is_counted_moved_and_written_off_as_jars_are(room):
    product = forms_room.comb_by_piece()
    lot = forms_room.comb_at(room.shelf, product, 24)
    stand = builders.place("stand", Place.Kind.STAND)
    who = {"item": product.item, "lot": lot, "recorded_by": builders.person()}

    stores.transfer(source=room.shelf, target=stand, pieces=6, key="move", **who)
    stores.write_off(place=stand, pieces=1, reason="breakage", key="off", **who)
    stores.count(place=room.shelf, counted=17, reason="Counted", key="count", **who)

    assert (forms_room.there(lot, stand), forms_room.there(lot, room.shelf)) == (5, 17)


def test_cut_comb_becomes_pieces_drained_honey_and_loss(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 5_000)

    made = cut(room, lot)

    # 4,000 g less 700 g drained and 200 g lost leave 3,100 g for ten pieces.
    assert [link.grams for link in made.packed_lot.parent_links.all()] == [3_100]
    assert forms_room.there(lot, room.shelf) == 1_000
    assert forms_room.there(lot, Place.objects.outside(Place.Kind.FILLING_LOSS)) == 200
    assert forms_room.there(lot, Place.objects.outside(Place.Kind.PACKING)) == 3_800
    pail = Balance.objects.in_vessel(Place.objects.get(code="drip-pail"))
    assert (pail.quantity, pail.lot) == (700, made.drained_lot)
    assert made.drained_lot.honey_moisture == Decimal("17.8")
    assert [origin.lot for origin in made.drained_lot.origins()] == [lot]


def test_cut_comb_and_drained_honey_share_the_cost_of_the_comb(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 5_000, cost_cents=10_000)
    product = forms_room.comb_by_piece()
    box = builders.part("Comb box")
    builders.made_of(product, box)
    bottling_room.receive(box, room.shelf, 20, 800)

    made = cut(room, lot, product=product)

    # 2 cents a gram: 4,000 g are 80.00, of which 700 g drained are 14.00; ten boxes at 0.40.
    assert made.drained_lot.cost_cents == 1_400
    assert made.packed_lot.cost_cents == 8_000 - 1_400 + 400
    assert box.item.balances.get(place=room.shelf).quantity == 10


def test_drained_honey_is_blended_with_what_is_in_its_vessel(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 5_000)

    made = cut(room, lot, vessel=room.tank)

    blend = Balance.objects.in_vessel(room.tank).lot
    assert {link.parent: link.grams for link in blend.parent_links.all()} == {
        room.lot: 200_000,
        made.drained_lot: 700,
    }


def test_cutting_that_is_undone_brings_the_comb_back(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 5_000)
    made = cut(room, lot)

    reversals.reverse(posting=made.posting, recorded_by=builders.person(), key=builders.new_key())

    assert forms_room.there(lot, room.shelf) == 5_000
    assert Balance.objects.in_vessel(Place.objects.get(code="drip-pail")) is None


def test_more_pieces_than_the_comb_can_be_are_refused(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 5_000)

    # 3,100 g are below nine tenths of twelve pieces of 300 g.
    with pytest.raises(BadValue, match=r"only 6\.8 lb of comb was left for them\.") as refused:
        cut(room, lot, pieces=12)

    assert refused.value.parameter == "comb_grams"
    assert forms_room.there(lot, room.shelf) == 5_000


def test_far_more_comb_than_the_pieces_hold_is_asked_about(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 5_000)
    product = forms_room.comb_by_piece()

    # 3,100 g are over a quarter more than eight pieces of 300 g, 2,400 g, need.
    with pytest.raises(BadValue, match=r"6\.8 lb of comb was left for 8 pieces") as refused:
        cut(room, lot, pieces=8, product=product, vessel=room.tank)

    assert refused.value.parameter == "figures_are_right"
    made = cut(room, lot, pieces=8, product=product, vessel=room.tank, figures_are_right=True)
    assert made.packed_lot.quantity_made == 8


def test_more_comb_than_there_is_can_not_be_cut(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 3_999)

    with pytest.raises(NotEnoughStock, match=r"^Not enough comb: .* needed, but Shelf has only"):
        cut(room, lot)


def chunk(room, comb_lot, **changes):
    """A planned run of ten one-pound jars with 150 g of comb in each."""
    product = forms_room.honey_of(room.size, Product.Form.CHUNK)
    told = {
        "comb": Balance.objects.of_lot_at(comb_lot, room.shelf),
        "comb_grams_each": 150,
    }
    return forms_room.plan(room, product, **(told | changes))


def test_chunk_honey_draws_comb_and_honey_in_one_posting(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 5_000, cost_cents=10_000)

    run = forms_room.record(chunk(room, lot), drawn_grams=3_100)

    # Ten jars with 150 g of comb: 1,500 g, with 3,100 g of liquid honey.
    links = {link.parent: link.grams for link in run.packed_lot.parent_links.all()}
    assert links == {room.lot: 3_100, lot: 1_500}
    shares = {origin.lot: origin.share for origin in run.packed_lot.origins()}
    assert shares == {room.lot: Fraction(31, 46), lot: Fraction(15, 46)}
    assert forms_room.there(lot, room.shelf) == 3_500
    # Honey 3.1 of 200 kg at 1,000.00: 15.50; comb 1.5 of 5 kg at 100.00: 30.00.
    assert run.honey_cents == 1_550 + 3_000
    assert run.packed_lot.honey_moisture == Decimal("17.40")
    assert run.posting.lines.filter(lot=lot).exists()


def test_chunk_honey_takes_whole_pieces_of_comb(room):
    lot = forms_room.comb_at(room.shelf, forms_room.comb_by_piece(), 24)
    run = chunk(room, lot)

    run = forms_room.record(run, drawn_grams=3_100)

    # 1,500 g are five squares of 300 g.
    assert forms_room.there(lot, room.shelf) == 19
    run.comb.refresh_from_db()
    assert (run.comb.quantity, run.comb.grams) == (5, 1_500)


def test_liquid_honey_is_held_against_the_label_less_the_comb(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 5_000)
    run = chunk(room, lot)

    # Ten pounds are 4,536 g, less 1,500 g of comb 3,036 g; nine tenths of them are 2,732.4 g.
    with pytest.raises(BadValue, match=r"with .* of comb need .* of liquid honey") as refused:
        forms_room.record(run, drawn_grams=2_732)

    assert refused.value.parameter == "drawn_grams"
    assert forms_room.record(run, drawn_grams=2_733).added_grams == 1_500


def test_as_much_comb_as_the_label_says_leaves_no_room(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 9_000)

    with pytest.raises(BadValue, match=r"leaves no room for liquid honey") as refused:
        chunk(room, lot, comb_grams_each=454)

    assert refused.value.parameter == "comb_grams_each"


def test_chunk_honey_needs_comb(room):
    with pytest.raises(BadValue, match=r"^Choose the comb that goes into the jars\.$"):
        forms_room.plan(
            room, forms_room.honey_of(room.size, Product.Form.CHUNK), comb_grams_each=150
        )


def test_comb_on_hold_is_refused(room, bulk_comb):
    lot = forms_room.comb_at(room.shelf, bulk_comb, 5_000)
    Lot.objects.filter(pk=lot.pk).update(is_on_hold=True, hold_reason="Wax moth.")

    with pytest.raises(LotOnHold, match=r"can't be used: Wax moth\."):
        chunk(room, lot)


def test_comb_takes_more_room_than_honey(room):
    # 150 g of comb with 5 % wax: 7.5 g of 0.96 g/ml are 7.81 ml, in place of 5.30 ml of honey at
    # 1.4157 g/ml (17.4 % moisture and 20 °C): 2.51 ml more.
    celsius, moisture = Decimal(20), Decimal("17.4")

    liquid = filling.fit(room.size, moisture_percent=moisture, celsius=celsius)
    chunks = filling.fit(room.size, moisture_percent=moisture, celsius=celsius, comb_grams=150)

    assert float(chunks.needed_ml - liquid.needed_ml) == pytest.approx(2.51, abs=0.03)


def test_comb_is_not_filled_from_a_vessel(room):
    with pytest.raises(BadValue, match=r"is comb honey, which is received or cut, not filled\.$"):
        forms_room.plan(room, forms_room.comb_by_piece())


@settings(max_examples=200, deadline=None)
@given(
    drawn=st.integers(4_000, 200_000),
    grams_each=st.integers(1, 400),
    filled=st.integers(1, 100),
    broken=st.integers(0, 10),
    loss=st.integers(0, 500),
)
def test_what_goes_in_is_what_comes_out_for_chunk_honey(drawn, grams_each, filled, broken, loss):
    comb_grams = grams_each * (filled + broken)
    shares = Shares(drawn + comb_grams, loss, 450 * broken)
    addition = Addition(Lot(), Item(), Place(), comb_grams, comb_grams, is_comb=True)

    liquid, added = forms_of_honey.split(
        shares, addition, pieces_filled=filled, pieces_broken=broken
    )

    assert (liquid.drawn_grams, added.drawn_grams) == (drawn, comb_grams)
    assert (liquid.loss_grams, added.loss_grams) == (loss, 0)
    assert added.broken_grams == grams_each * broken
    assert liquid.packed_grams + added.packed_grams == shares.packed_grams
    assert added.packed_grams == grams_each * filled


@pytest.mark.parametrize("by_weight", [True, False])
def test_emptied_chunk_jars_keep_the_cost_of_their_honey_and_comb(room, bulk_comb, by_weight):
    # 5 kg, or 20 squares of 300 g: 1,500 g cost 30.00 or 5 squares 25.00.
    product = bulk_comb if by_weight else forms_room.comb_by_piece()
    lot = forms_room.comb_at(room.shelf, product, 5_000 if by_weight else 20, cost_cents=10_000)
    run = forms_room.record(chunk(room, lot), drawn_grams=3_100)

    emptied = jars.empty(
        lot=run.packed_lot,
        place=room.shelf,
        pieces=10,
        grams=4_400,
        vessel=builders.place("pail-9", "pail"),
        changed_by=builders.person(),
        key=builders.new_key(),
    )

    # With 3.1 of 200 kg at 1,000.00, as in the run.
    assert emptied.cost_cents == 1_550 + (3_000 if by_weight else 2_500)
    assert emptied.cost_cents == run.honey_cents
    # A cost that is told later is worked out anew with the comb in it.
    costs.set_lot_cost(lot=room.lot, cost_cents=200_000)
    emptied.lot.refresh_from_db()
    assert emptied.lot.cost_cents == 3_100 + (3_000 if by_weight else 2_500)
