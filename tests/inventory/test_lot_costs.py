"""The cost of an extraction flows into everything made of it."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.bottling.models import BottlingRun
from inventory.bottling.services import costs
from inventory.shared.errors import BadValue, NotAllowedNow
from inventory.shared.money import split_cents
from inventory.stock.models import Balance, Lot
from inventory.stock.services import honey
from tests import builders


@pytest.fixture
def tank(db):
    return builders.place("tank-1")


def blend_of_two(tank):
    """Pour 100 kg of one lot onto 300 kg of another and return both and the blend."""
    first = builders.lot_in(tank, 300_000)
    drum = builders.place("drum-1", "drum")
    second = builders.lot_in(drum, 200_000, floral_source="Basswood")
    honey.transfer(
        source=drum,
        target=tank,
        grams=100_000,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    return first, second, Balance.objects.in_vessel(tank).lot


def filled_run(blend, tank):
    """A recorded run of 40 jars that drew 20 kg of the blend; parts 30.00, labour 10.00."""
    product = builders.product("Half kilo", "500", "g")
    shelf = builders.place("shelf-1", "shelf")
    packed = builders.packed_lot(product, shelf, 40, parent=blend)
    return BottlingRun.objects.create(
        number="R26-001",
        status=BottlingRun.Status.RECORDED,
        product=product,
        lot_code=packed.code,
        source=tank,
        target=shelf,
        pieces_planned=40,
        pieces_filled=40,
        drawn_grams=20_000,
        parts_cents=3_000,
        labour_cents=1_000,
        packed_lot=packed,
        posting=packed.lines.first().posting,
        idempotency_key="run",
    )


def cost_of(lot):
    return Lot.objects.get(pk=lot.pk).cost_cents


def test_a_blend_and_its_jars_are_worked_out_again(tank):
    first, second, blend = blend_of_two(tank)
    run = filled_run(blend, tank)

    changed = costs.set_lot_costs({first: 120_000, second: 100_000})

    # The blend is all of the first, 1,200.00, and half of the second, 500.00: 1,700.00.
    assert cost_of(blend) == 170_000
    # The run drew 20 of its 400 kg: 85.00; with parts 30.00 and labour 10.00 that is 125.00.
    run.refresh_from_db()
    assert run.honey_cents == 8_500
    assert cost_of(run.packed_lot) == 12_500
    assert changed == [first, second, blend, run.packed_lot]


def test_while_one_parent_has_no_cost_what_is_made_of_it_has_none(tank):
    first, second, blend = blend_of_two(tank)
    run = filled_run(blend, tank)
    costs.set_lot_costs({first: 120_000, second: 100_000})

    changed = costs.set_lot_cost(lot=second, cost_cents=None)

    assert changed == [second, blend, run.packed_lot]
    assert cost_of(first) == 120_000
    assert cost_of(blend) is None
    assert cost_of(run.packed_lot) is None


def test_a_blend_of_a_blend_follows_too(tank):
    first, second, blend = blend_of_two(tank)
    other = builders.place("tank-2")
    third = builders.lot_in(other, 100_000, cost_cents=50_000)
    honey.transfer(
        source=tank,
        target=other,
        grams=40_000,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    last = Balance.objects.in_vessel(other).lot
    assert cost_of(last) is None

    costs.set_lot_costs({first: 120_000, second: 100_000})

    # 40 of the 400 kg of the blend, 170.00, and all of the third, 500.00.
    assert cost_of(third) == 50_000
    assert cost_of(blend) == 170_000
    assert cost_of(last) == 67_000


def test_the_same_cost_again_changes_nothing(tank):
    lot = builders.lot_in(tank, cost_cents=10_000)

    assert costs.set_lot_cost(lot=lot, cost_cents=10_000) == []


def test_only_extractions_are_given_a_cost(tank):
    _first, _second, blend = blend_of_two(tank)

    with pytest.raises(NotAllowedNow) as refused:
        costs.set_lot_cost(lot=blend, cost_cents=1)

    assert refused.value.message == (
        f"The cost of {blend.code} is worked out from the lots it was made from. "
        "Enter the cost of those lots instead."
    )


@pytest.mark.parametrize("cents", [-1, 100_000_001])
def test_an_absurd_cost_is_refused_and_nothing_is_changed(tank, cents):
    lot = builders.lot_in(tank, cost_cents=10_000)

    with pytest.raises(BadValue) as refused:
        costs.set_lot_cost(lot=lot, cost_cents=cents)

    assert refused.value.parameter == "cost_cents"
    assert refused.value.message == (
        f"Enter the cost of the whole lot {lot.code}, from 0 to $1,000,000.00."
    )
    assert cost_of(lot) == 10_000


@given(
    total=st.integers(0, 100_000_000),
    grams=st.lists(st.integers(1, 5_000_000), min_size=1, max_size=12),
)
def test_a_cost_spread_by_weight_adds_up_to_the_cent_and_is_fair_to_a_cent(total, grams):
    shares = split_cents(total, grams)

    assert sum(shares) == total
    for share, weight in zip(shares, grams, strict=True):
        assert abs(share - Decimal(total) * weight / sum(grams)) <= 1


def test_a_jar_without_a_run_keeps_its_cost(tank):
    lot = builders.lot_in(tank)
    size = builders.size()
    packed = builders.packed_lot(
        size, builders.place("shelf", "shelf"), 10, cost_cents=700, parent=lot
    )

    costs.set_lot_cost(lot=lot, cost_cents=99_000)

    assert cost_of(packed) == 700
