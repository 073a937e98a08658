"""Blend plans: drafted, changed, carried out in one posting, dropped."""

from datetime import timedelta
from decimal import Decimal

import pytest

from inventory.bottling.services import holds, reversals
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    LotOnHold,
    NotAllowedNow,
    NotEnoughHoney,
    VesselTooSmall,
)
from inventory.stock.blends import BlendLimits
from inventory.stock.models import Balance, BlendPlan, Lot, Posting
from inventory.stock.queries import blend_plans as queries
from inventory.stock.queries import books
from inventory.stock.services import blend_plans, honey
from tests import builders
from tests.inventory import others_room

pytestmark = pytest.mark.django_db

LIMITS = BlendLimits(
    grams_min=100_000,
    grams_max=100_000,
    colour_mm_max=Decimal("34"),
    moisture_percent_max=Decimal("18.6"),
)


@pytest.fixture
def light():
    place = builders.place("drum-1", "drum")
    builders.lot_in(place, 200_000, colour_mm="20", moisture_percent="17.0", cost_cents=40_000)
    return place


@pytest.fixture
def dark():
    place = builders.place("drum-2", "drum")
    builders.lot_in(place, 200_000, colour_mm="60", moisture_percent="19.0", cost_cents=20_000)
    return place


@pytest.fixture
def tank():
    return builders.place("tank-1")


def drafted(tank, *sources, limits=LIMITS, **fields) -> BlendPlan:
    return blend_plans.draft(
        target=tank,
        sources=sources,
        limits=limits,
        planned_by=builders.person(),
        key=fields.pop("key", builders.new_key()),
        **fields,
    )


def carried_out(plan, **fields) -> Posting:
    return blend_plans.carry_out(
        plan=plan,
        carried_out_by=builders.person(),
        key=fields.pop("key", builders.new_key()),
        **fields,
    )


def in_(place) -> Balance | None:
    return Balance.objects.in_vessel(place)


def outcome(plan):
    return queries.outcome_of(queries.plans().get(pk=plan.pk))


# ------------------------------------------------------------------ drafts


def test_a_draft_moves_no_honey_and_says_what_the_blend_would_be(light, dark, tank):
    plan = drafted(tank, (light, 70_000), (dark, 30_000), buyer=" Corner Packer ")

    said = outcome(plan)
    assert (plan.number, plan.status, plan.buyer) == ("M26-01", "draft", "Corner Packer")
    assert in_(tank) is None
    # 0.7 × 20 + 0.3 × 60 mm; 0.7 × 17.0 + 0.3 × 19.0 %; the costs are 0.2 and 0.1 cents a gram.
    assert (said.colour_mm, said.moisture_percent) == (Decimal("32.0"), Decimal("17.60"))
    assert said.cost_cents == 14_000 + 3_000
    assert said.broken == []
    assert [row.trial_grams for row in said.rows] == [350, 150]
    assert [row.is_above_moisture_limit for row in said.rows] == [False, True]


def test_a_draft_that_misses_its_limits_says_which(light, dark, tank):
    plan = drafted(tank, (light, 40_000), (dark, 50_000))

    assert outcome(plan).broken == ["grams_min", "colour_max"]


def test_what_is_in_the_target_is_part_of_the_blend(light, dark, tank):
    honey.transfer(
        source=dark, target=tank, grams=50_000, recorded_by=builders.person(), key="pour"
    )

    said = outcome(drafted(tank, (light, 50_000)))

    assert [(row.place, row.grams, row.is_poured) for row in said.rows] == [
        (light, 50_000, True),
        (tank, 50_000, False),
    ]
    assert said.colour_mm == Decimal("40.0")
    assert said.moved_grams == 50_000


def test_the_same_draft_sent_twice_is_kept_once(light, tank):
    plan = drafted(tank, (light, 1000), key="once")

    with pytest.raises(AlreadyRecorded) as refused:
        drafted(tank, (light, 1000), key="once")

    assert refused.value.made == plan
    assert BlendPlan.objects.count() == 1


def test_honey_on_hold_is_never_planned(light, dark, tank):
    lot = in_(light).lot
    holds.hold(lots=[lot], reason="Smells of smoke", held_by=builders.person())

    for target, source in ((tank, light), (light, dark)):
        with pytest.raises(LotOnHold) as refused:
            drafted(target, (source, 1000))
        assert refused.value.parameter == ("sources.0.place" if target == tank else "target")


def test_honey_of_another_beekeeper_is_never_planned(tank):
    drum = builders.place("drum-9", "drum")
    others_room.bring(others_room.hanna(), drum)

    with pytest.raises(NotAllowedNow) as refused:
        drafted(tank, (drum, 1000))

    assert refused.value.parameter == "sources.0.place"


def test_a_draft_may_not_take_more_than_there_is_nor_overflow(light, tank):
    with pytest.raises(NotEnoughHoney) as too_much:
        drafted(tank, (light, 200_001))
    assert too_much.value.parameter == "sources.0.grams"

    pail = builders.place("pail-1", "pail", capacity_litres=Decimal(20))
    with pytest.raises(VesselTooSmall):
        drafted(pail, (light, 100_000))
    assert BlendPlan.objects.count() == 0


@pytest.mark.parametrize(
    "limits",
    [
        BlendLimits(grams_min=0),
        BlendLimits(grams_min=10, grams_max=9),
        BlendLimits(grams_min=10, colour_mm_min=Decimal(50), colour_mm_max=Decimal(34)),
        BlendLimits(
            grams_min=10, moisture_percent_min=Decimal(18), moisture_percent_max=Decimal(17)
        ),
    ],
)
def test_limits_that_contradict_each_other_are_refused(light, tank, limits):
    with pytest.raises(BadValue) as refused:
        drafted(tank, (light, 1000), limits=limits)

    assert refused.value.parameter == "limits"


def test_the_weights_of_a_draft_are_changed(light, dark, tank):
    plan = drafted(tank, (light, 70_000), (dark, 30_000))

    blend_plans.change(plan=plan, sources=[(light, 100_000)])

    said = outcome(plan)
    assert [(row.place, row.grams) for row in said.rows] == [(light, 100_000)]
    assert said.colour_mm == Decimal("20.0")


# ------------------------------------------------------------------ carried out


def test_a_plan_is_carried_out_in_one_posting(light, dark, tank):
    plan = drafted(tank, (light, 70_000), (dark, 30_000))

    posting = carried_out(plan)

    plan.refresh_from_db()
    assert (plan.status, plan.posting) == ("carried_out", posting)
    assert posting.kind == Posting.Kind.BLEND
    assert posting.note == "Blend plan M26-01"
    assert (in_(light).quantity, in_(dark).quantity) == (130_000, 170_000)
    made = in_(tank).lot
    assert (made.kind, made.quantity_made) == (Lot.Kind.BLEND, 100_000)
    said = outcome(plan)
    assert (made.colour_mm, made.moisture_percent, made.cost_cents) == (
        said.colour_mm,
        said.moisture_percent,
        said.cost_cents,
    )
    assert list(books.faults()) == []


def test_the_weights_that_were_really_poured_are_kept_beside_the_planned_ones(light, dark, tank):
    plan = drafted(tank, (light, 70_000), (dark, 30_000))
    yesterday = builders.today() - timedelta(days=1)

    posting = carried_out(plan, sources=[(light, 71_000)], poured_on=yesterday)

    lines = {line.place: line for line in plan.lines.all()}
    assert (lines[light].grams, lines[light].poured_grams) == (70_000, 71_000)
    assert (lines[dark].grams, lines[dark].poured_grams) == (30_000, 0)
    assert posting.occurred_at.date() == yesterday
    assert outcome(plan).grams == 71_000


def test_what_was_in_the_target_stays_part_of_a_plan_that_was_carried_out(light, dark, tank):
    honey.transfer(
        source=dark, target=tank, grams=50_000, recorded_by=builders.person(), key="pour"
    )
    plan = drafted(tank, (light, 50_000))

    carried_out(plan)

    said = outcome(plan)
    assert (said.grams, said.moved_grams, said.colour_mm) == (100_000, 50_000, Decimal("40.0"))
    assert in_(tank).lot.colour_mm == said.colour_mm


def test_a_blend_poured_yesterday_is_judged_by_the_honey_of_yesterday(light, dark, tank):
    plan = drafted(tank, (light, 70_000))
    honey.transfer(source=dark, target=tank, grams=500, recorded_by=builders.person(), key="today")

    carried_out(plan, poured_on=builders.today() - timedelta(days=1))

    assert in_(tank).quantity == 70_500
    assert in_(light).quantity == 130_000
    assert list(books.faults()) == []


def test_a_plan_is_carried_out_once(light, tank):
    plan = drafted(tank, (light, 1000))
    carried_out(plan, key="once")

    with pytest.raises(AlreadyRecorded):
        carried_out(plan, key="once")
    with pytest.raises(NotAllowedNow, match="no draft any more: it was carried out"):
        carried_out(plan)
    with pytest.raises(NotAllowedNow):
        blend_plans.change(plan=plan, sources=[(light, 5)])

    assert in_(tank).quantity == 1000


def test_a_plan_whose_posting_was_undone_may_be_carried_out_again(light, tank):
    plan = drafted(tank, (light, 1000))
    first = carried_out(plan)
    reversals.reverse(posting=first, recorded_by=builders.person(), key="undo")

    second = carried_out(BlendPlan.objects.get(pk=plan.pk))

    plan.refresh_from_db()
    assert plan.posting == second
    assert in_(tank).quantity == 1000


def test_a_plan_is_not_carried_out_with_other_honey_than_it_counted_with(light, dark, tank):
    plan = drafted(tank, (light, 1000))
    honey.transfer(source=dark, target=light, grams=500, recorded_by=builders.person(), key="mix")

    with pytest.raises(NotAllowedNow, match="has other honey than when") as refused:
        carried_out(plan)
    assert refused.value.parameter == "sources.0.place"

    blend_plans.change(plan=plan, sources=[(light, 1000)])
    honey.transfer(source=dark, target=tank, grams=500, recorded_by=builders.person(), key="in")
    with pytest.raises(NotAllowedNow, match="has other honey than when") as refused:
        carried_out(plan)
    assert refused.value.parameter == "target"
    assert in_(tank).quantity == 500


def test_a_vessel_that_is_not_in_the_plan_is_refused(light, dark, tank):
    plan = drafted(tank, (light, 1000))

    with pytest.raises(BadValue) as refused:
        carried_out(plan, sources=[(light, 1000), (dark, 5)])

    assert refused.value.parameter == "sources.1.place"
    assert in_(tank) is None


def test_a_dropped_plan_is_neither_carried_out_nor_dropped_again(light, tank):
    plan = drafted(tank, (light, 1000))
    blend_plans.drop(plan=plan, dropped_by=builders.person(), reason="Sold elsewhere")

    plan.refresh_from_db()
    assert (plan.status, plan.note) == ("dropped", "Sold elsewhere")
    with pytest.raises(NotAllowedNow):
        carried_out(plan)
    with pytest.raises(NotAllowedNow):
        blend_plans.drop(plan=plan, dropped_by=builders.person())
    assert queries.drafted_grams() == {}


def test_a_plan_is_not_carried_out_on_a_day_to_come(light, tank):
    plan = drafted(tank, (light, 1000))

    with pytest.raises(BadValue) as refused:
        carried_out(plan, poured_on=builders.today() + timedelta(days=1))
    assert refused.value.parameter == "poured_on"
    assert in_(tank) is None
