"""Carrying out plans of the past: what a policy sees, what it earns, and invented houses."""

from dataclasses import replace

import pytest

from apiary_sales.planning.season import back_test, policies, simulate
from apiary_sales.planning.season.back_test import Decision, World, WorldOutlet, WorldProduct

ONE = simulate.SimulatedProduct("pound", 1.0, 1.0, 75, (("stand", 900, 60), ("shop", 600, 90)))
SMALL = simulate.Parameters(products=(ONE,), harvest_pounds=3_000, drum_month_pounds=None)


def world(**fields) -> World:
    given = {
        "first": 0,
        "products": (WorldProduct("jar", 500.0, 2.0, 50.0),),
        "outlets": (WorldOutlet("stand", "jar", 600.0), WorldOutlet("shop", "jar", 400.0)),
        "demand": {"stand": [3, 3], "shop": [4, 4]},
        "harvest": [0.0, 2_000.0],
        "honey_grams": 3_000.0,
        "ready": {"jar": 1},
        "drum_cents": 0.4,
        "kept_cents": 0.3,
        "cents_per_minute": 10.0,
        "storage_cents": 0.001,
    }
    return World(**{**given, **fields})


def test_earnings_are_sales_and_drums_less_parts_work_and_storage():
    found = back_test.run(
        world(), lambda seen: Decision({"jar": 4}, 500.0), warm_up=policies.settled, begins=0
    )

    # Month 0: 4 filled, 5 there: 3 × 600 + 2 × 400, 200 of drums, 4 × 70 of costs, 500 g kept.
    # Month 1: 4 filled of 2,500 g: 3 × 600 + 1 × 400, 200, 280, nothing kept but 0 g.
    # 2,600 + 200 − 280 − 0.5 + 2,200 + 200 − 280 = 4,639.5.
    assert found.cents == pytest.approx(4_639.5)
    assert (found.jars_sold, found.jars_wanted) == (9, 14)
    assert found.drum_grams == 1_000


def test_hours_and_honey_cut_what_was_decided():
    few = back_test.run(
        world(minutes=4.0),
        lambda seen: Decision({"jar": 6}, 0.0),
        warm_up=policies.settled,
        begins=0,
    )

    # Two jars a month of two minutes each, and the one that was ready.
    assert few.jars_sold == 5


def test_a_plan_depends_on_nothing_that_comes_later():
    seen_by = []
    usual = simulate.world(SMALL, seed=3, years=3)
    other = replace(
        usual,
        demand={key: [*row[:24], *(0 for _ in row[24:])] for key, row in usual.demand.items()},
        harvest=[*usual.harvest[:25], *(0.0 for _ in usual.harvest[25:])],
    )

    def first_decision(seen):
        if seen.month == 24:
            seen_by.append(policies.season_plan(seen))
        return Decision({}, 0.0)

    # The settled house looks two months ahead, so the last known month is left to this policy too.
    def before(seen):
        return policies.last_year(seen)

    for each in (usual, other):
        back_test.run(each, first_decision, warm_up=before, begins=24)

    assert seen_by[0] == seen_by[1]


def test_the_same_seed_gives_the_same_seasons_and_hindsight_earns_no_less_than_all_in_drums():
    first, again = simulate.world(SMALL, seed=1, years=3), simulate.world(SMALL, seed=1, years=3)
    short = replace(
        first,
        demand={key: row[:28] for key, row in first.demand.items()},
        harvest=first.harvest[:28],
    )

    earned = {
        name: back_test.run(short, policy, warm_up=policies.settled, begins=24).cents
        for name, policy in (
            ("drums", policies.all_in_drums),
            ("plan", policies.season_plan),
            ("hindsight", policies.with_hindsight),
        )
    }

    assert first == again
    assert first != simulate.world(SMALL, seed=2, years=3)
    assert earned["hindsight"] > earned["drums"]
    assert earned["plan"] > earned["drums"]
