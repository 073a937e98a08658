"""Creamed honey: seed of another lot in the jars, and days of setting before they are sold."""

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.bottling.models import Product
from inventory.bottling.queries import packed_stock
from inventory.bottling.rules import forms_of_honey
from inventory.bottling.rules.filling import Shares
from inventory.bottling.rules.forms_of_honey import Addition
from inventory.bottling.services import costs, reversals, setting
from inventory.shared.errors import BadValue, LotOnHold, NotAllowedNow
from inventory.stock.models import Item, Lot, Place, ProductionSettings
from inventory.stock.services import stores
from tests import builders
from tests.inventory import bottling_room, forms_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return bottling_room.set_up()


def test_seed_is_drawn_with_the_honey_and_both_lots_are_parents(room):
    pail, seed = forms_room.seed_in()
    run = forms_room.creamed(room, seed_source=pail)

    run = forms_room.record(run, drawn_grams=4_500)

    # A tenth of all: 500 g of seed with 4,500 g of honey.
    links = {link.parent: link.grams for link in run.packed_lot.parent_links.all()}
    assert links == {room.lot: 4_500, seed: 500}
    assert forms_room.there(room.lot, room.tank) == 195_500
    assert forms_room.there(seed, pail) == 9_500
    assert run.creaming.seed_lot == seed
    assert run.added_grams == 500


def test_the_origins_of_creamed_honey_are_shared_by_grams(room):
    pail, seed = forms_room.seed_in()
    run = forms_room.record(
        forms_room.creamed(room, seed_source=pail), drawn_grams=4_000, seed_grams=1_000
    )

    # 1,000 of 5,000 g are a fifth.
    shares = {origin.lot: origin.share for origin in run.packed_lot.origins()}
    assert shares == {room.lot: Fraction(4, 5), seed: Fraction(1, 5)}
    # Moisture by mass: 0.8 × 17.4 + 0.2 × 18.4 = 17.6.
    assert run.packed_lot.moisture_percent == Decimal("17.60")
    assert run.packed_lot.floral_source == "Clover, Basswood"


def test_creamed_honey_costs_its_honey_its_seed_and_its_parts(room):
    pail, _seed = forms_room.seed_in(cost_cents=20_000)
    run = forms_room.record(forms_room.creamed(room, seed_source=pail), drawn_grams=4_500)

    # Honey: 4.5 of 200 kg at 1,000.00 is 22.50; seed: 0.5 of 10 kg at 200.00 is 10.00.
    assert run.honey_cents == 3_250
    # Ten jars at 0.60, ten lids at 0.15 and a case at 0.90: 8.40.
    assert run.packed_lot.cost_cents == 3_250 + 840


def test_a_new_cost_of_the_seed_changes_the_cost_of_its_jars(room):
    pail, seed = forms_room.seed_in(cost_cents=None)
    run = forms_room.record(forms_room.creamed(room, seed_source=pail), drawn_grams=4_500)
    assert run.packed_lot.cost_cents is None

    costs.set_lot_cost(lot=seed, cost_cents=40_000)

    # Honey 22.50, seed 0.5 of 10 kg at 400.00: 20.00, parts 8.40.
    assert Lot.objects.get(pk=run.packed_lot.pk).cost_cents == 2_250 + 2_000 + 840


def test_creamed_jars_are_ready_after_the_days_of_the_house(room):
    run = forms_room.record(forms_room.creamed(room))

    assert ProductionSettings.current().setting_days == 10
    assert run.packed_lot.ready_on == timezone.localdate() + timedelta(days=10)


def test_honey_creamed_in_the_tank_is_bottled_without_seed_and_is_ready_at_once(room):
    product = forms_room.honey_of(room.size, Product.Form.CREAMED)

    run = forms_room.record(forms_room.plan(room, product), drawn_grams=4_600)

    assert run.packed_lot.ready_on is None
    assert [link.parent for link in run.packed_lot.parent_links.all()] == [room.lot]


def test_jars_that_set_are_not_free_until_their_day(room):
    run = forms_room.record(forms_room.creamed(room, setting_days=7))
    product = run.product

    stock = packed_stock.of(product)

    assert (stock.on_hand, stock.free, stock.setting) == (10, 0, 10)
    assert stock.ready_on == timezone.localdate() + timedelta(days=7)
    assert stores.free_at(product.item, [room.shelf]) == []
    Lot.objects.filter(pk=run.packed_lot.pk).update(ready_on=timezone.localdate())
    assert packed_stock.of(product).free == 10


def test_whoever_says_that_jars_are_ready_is_kept(room):
    run = forms_room.record(forms_room.creamed(room))
    person = builders.person("bottling")

    setting.ready_now(lot=run.packed_lot, said_by=person)

    run.creaming.refresh_from_db()
    assert run.creaming.hastened_by == person
    assert packed_stock.of(run.product).free == 10
    with pytest.raises(NotAllowedNow, match=r"is ready already\."):
        setting.ready_now(lot=run.packed_lot, said_by=person)


@pytest.mark.parametrize("percent", ["2.9", "30.1"])
def test_a_share_of_seed_that_nobody_uses_is_asked_about(room, percent):
    pail, _seed = forms_room.seed_in()
    asked = {"seed_source": pail, "seed_percent": Decimal(percent)}

    with pytest.raises(BadValue, match=rf"{percent} % of seed is unusual") as refused:
        forms_room.creamed(room, **asked)

    assert refused.value.parameter == "share_is_right"


@pytest.mark.parametrize("percent", ["3", "30"])
def test_the_bounds_of_the_share_of_seed_are_taken(room, percent):
    assert forms_room.creamed(room, seed_percent=Decimal(percent)).creaming.seed_percent == Decimal(
        percent
    )


def test_an_odd_share_of_seed_drawn_is_asked_about(room):
    run = forms_room.creamed(room)

    with pytest.raises(BadValue, match=r"40\.0 % of seed is unusual") as refused:
        forms_room.record(run, drawn_grams=3_000, seed_grams=2_000)

    assert refused.value.parameter == "figures_are_right"


def test_seed_of_a_lot_on_hold_is_refused(room):
    pail, seed = forms_room.seed_in()
    Lot.objects.filter(pk=seed.pk).update(is_on_hold=True, hold_reason="Smells sour.")

    with pytest.raises(LotOnHold, match=r"is on hold and can't be bottled: Smells sour\."):
        forms_room.creamed(room, seed_source=pail)


def test_seed_does_not_go_into_liquid_honey(room):
    pail, _seed = forms_room.seed_in()

    with pytest.raises(BadValue, match=r"is not creamed honey, so no seed goes into it\."):
        forms_room.plan(room, room.product, seed_source=pail, seed_percent=Decimal(10))


def test_a_creamed_run_that_is_undone_brings_seed_and_honey_back(room):
    pail, seed = forms_room.seed_in()
    run = forms_room.record(forms_room.creamed(room, seed_source=pail))

    reversals.reverse(posting=run.posting, recorded_by=builders.person(), key=builders.new_key())

    assert forms_room.there(seed, pail) == 10_000
    assert forms_room.there(room.lot, room.tank) == 200_000
    assert forms_room.there(run.packed_lot, room.shelf) == 0


@settings(max_examples=200, deadline=None)
@given(
    drawn=st.integers(1, 200_000),
    seed=st.integers(1, 50_000),
    lost=st.floats(0, 0.5),
    broken=st.floats(0, 0.4),
)
def test_what_goes_in_is_what_comes_out_for_creamed_honey(drawn, seed, lost, broken):
    total = drawn + seed
    shares = Shares(total, int(total * lost), int(total * broken))
    addition = Addition(Lot(), Item(), Place(), seed, seed)

    liquid, added = forms_of_honey.split(shares, addition, pieces_filled=10, pieces_broken=1)

    assert (liquid.drawn_grams, added.drawn_grams) == (drawn, seed)
    assert liquid.loss_grams + added.loss_grams == shares.loss_grams
    assert liquid.broken_grams + added.broken_grams == shares.broken_grams
    assert liquid.packed_grams + added.packed_grams == shares.packed_grams
    assert min(liquid.packed_grams, added.packed_grams, added.loss_grams, added.broken_grams) >= 0


def test_days_of_setting_that_can_not_be_are_refused_without_seed_too(room):
    product = forms_room.honey_of(room.size, Product.Form.CREAMED)

    with pytest.raises(
        BadValue, match=r"^Enter how many days it sets, from 0 to 365\.$"
    ) as refused:
        forms_room.plan(room, product, setting_days=366)

    assert refused.value.parameter == "setting_days"
    run = forms_room.record(forms_room.plan(room, product, setting_days=365), drawn_grams=4_600)
    assert run.packed_lot.ready_on == timezone.localdate() + timedelta(days=365)
