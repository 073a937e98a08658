"""The season plan against hand-worked arithmetic, brute force, and the newsvendor."""

import itertools

import pytest
from scipy import stats

from apiary_sales.planning.season import demand, expect, search
from apiary_sales.planning.season.problem import (
    HoneyPool,
    Outlet,
    SeasonPart,
    SeasonProblem,
    SeasonProduct,
)


def certain(**fields) -> SeasonProblem:
    """Two months, 10,000 g of honey, jars of 500 g for 600 cents, no doubt of anything."""
    given = {
        "months": 2,
        "pools": (HoneyPool("honey", (10_000.0, 0.0), 0.5, 0.5),),
        "products": (SeasonProduct("jar", 500.0, 2.0, needs={"glass": 1.0}),),
        "outlets": (Outlet("jar-stand", "jar", 600.0, (6.0, 8.0)),),
        "parts": (SeasonPart("glass", 0, 50.0),),
        "minutes": (600.0, 600.0),
        "cents_per_minute": 30.0,
        "is_certain": True,
        **fields,
    }
    return SeasonProblem(**given)


def test_jars_are_filled_for_their_demand_and_the_rest_goes_into_drums():
    plan = search.solve(certain())

    # 14 jars: 600 − 50 − 60 = 490 each, 6,860; they take 7,000 g. The other 3,000 g bring 0.5.
    assert plan.value_cents == pytest.approx(6_860 + 1_500, abs=1)
    assert sum(plan.bottled_of("jar")) == pytest.approx(14)
    assert sum(plan.drums_by_month) == pytest.approx(3_000)
    # A gram more goes into a drum, an hour more does nothing.
    assert plan.honey_cents["honey"] == pytest.approx(0.5, abs=1e-4)
    assert plan.minute_cents == pytest.approx((0, 0), abs=1e-3)


def test_with_too_few_hours_an_hour_is_worth_what_a_jar_earns_beyond_the_drum():
    plan = search.solve(certain(minutes=(4.0, 4.0)))

    # Two jars a month. One more minute is half a jar: (490 − 250) / 2 = 120 cents.
    assert sum(plan.bottled_of("jar")) == pytest.approx(4)
    assert plan.minute_cents == pytest.approx((120, 120), abs=0.1)


def test_honey_is_kept_while_interest_is_less_than_the_price_to_come():
    kept = HoneyPool("honey", (1_000.0, 0.0), 0.5, 0.55)

    patient = search.solve(certain(pools=(kept,), outlets=(), growth=0.04))
    hasty = search.solve(certain(pools=(kept,), outlets=(), growth=0.06))

    # After two months 0.55 is worth 0.55 / 1.04² = 0.5085, or 0.55 / 1.06² = 0.4895.
    assert patient.drums_by_month[0] == pytest.approx(0)
    assert patient.value_cents == pytest.approx(508.5, abs=0.1)
    assert hasty.drums_by_month[0] == pytest.approx(1_000)


def test_drum_buyers_take_no_more_than_their_limit_and_room_drives_honey_out_before_the_harvest():
    pools = (
        HoneyPool("honey", (10_000.0, 0.0), 0.5, 0.6),
        HoneyPool("new", (0.0, 10_000.0), 0.5, 0.6),
    )

    limited = search.solve(certain(outlets=(), pools=pools, drum_month_grams=1_500.0))
    tight = search.solve(certain(outlets=(), pools=pools, room_grams=12_000.0))

    # Kept honey brings 0.6, so none would be sold; 8,000 g have to leave, and only that.
    assert sum(limited.drums_by_month) == pytest.approx(0)
    assert sum(tight.drums_by_month) == pytest.approx(8_000, abs=1)
    assert tight.bulk_by_month[1] == pytest.approx(12_000, abs=1)


def test_parts_with_a_lead_time_are_not_there_before_it():
    late = (SeasonPart("glass", 2, 50.0, first_month=1),)

    plan = search.solve(certain(parts=late))

    assert plan.bottled_of("jar") == pytest.approx((2, 8))
    assert plan.bought["glass"] == pytest.approx((0, 8))


@pytest.mark.parametrize("grams", [250.0, 30_000.0])
def test_small_and_large_pieces_alike_are_filled_in_the_month_that_wants_them(grams):
    plan = search.solve(
        certain(
            pools=(HoneyPool("honey", (20 * grams, 0.0), None, 0.0),),
            products=(SeasonProduct("jar", grams, 2.0, needs={"glass": 1.0, "lid": 1.0}),),
            outlets=(Outlet("jar-stand", "jar", 60_000.0, (0.0, 8.0)),),
            parts=(SeasonPart("glass", 9, 50.0), SeasonPart("lid", 9, 5.0)),
        )
    )

    # Filled in either month they earn the same.
    assert plan.bottled_of("jar") == pytest.approx((0, 8))


@pytest.mark.parametrize("minutes", [(5, 4), (6, 3)])
@pytest.mark.parametrize("honey", [2_000, 2_500])
@pytest.mark.parametrize("drum_cents", [0.3, 0.6])
def test_the_plan_earns_what_trying_all_whole_plans_finds(minutes, honey, drum_cents):
    problem = certain(
        pools=(HoneyPool("honey", (honey, 500.0), drum_cents, 0.0),),
        products=(SeasonProduct("half", 250.0, 1.0), SeasonProduct("one", 500.0, 2.0)),
        outlets=(Outlet("h", "half", 250.0, (2.0, 3.0)), Outlet("o", "one", 440.0, (2.0, 2.0))),
        parts=(),
        minutes=minutes,
        drum_month_grams=500.0,
    )

    best = 0.0
    for h0, o0, h1, o1 in itertools.product(range(7), range(4), range(5), range(3)):
        work = [h0 + 2 * o0, h1 + 2 * o1]
        bulk0 = honey - 250 * h0 - 500 * o0
        if work[0] > minutes[0] or work[1] > minutes[1] or bulk0 < 0:
            continue
        for d0 in range(0, min(500, bulk0) + 1, 50):
            bulk1 = bulk0 - d0 + 500 - 250 * h1 - 500 * o1
            if bulk1 < 0:
                continue
            halves = min(h0, 2) + min(h0 - min(h0, 2) + h1, 3)
            ones = min(o0, 2) + min(o0 - min(o0, 2) + o1, 2)
            drums = d0 + min(500, bulk1)
            best = max(best, 250 * halves + 440 * ones + drum_cents * drums - 30 * sum(work))

    # The best plan of these has whole pieces, so the programme finds the same.
    assert search.solve(problem).value_cents == pytest.approx(best, abs=0.01)


def test_the_shelf_is_filled_to_the_fractile_of_the_newsvendor():
    # One month, left-over honey is worthless: a jar gains 600 − 250 (its honey in drums) = 350,
    # and loses those 250. Cover 350 / 600 of demand (Arrow, Harris and Marschak 1951, from memory).
    problem = SeasonProblem(
        months=1,
        pools=(HoneyPool("honey", (1e6,), 0.5, 0.0),),
        products=(SeasonProduct("jar", 500.0),),
        outlets=(Outlet("jar-stand", "jar", 600.0, (400.0,)),),
    )

    filled = search.solve(problem).bottled_of("jar")[0]

    ratio = demand.fractile(350, 250)
    assert ratio == pytest.approx(7 / 12)
    # Poisson of mean 400; the programme goes in steps of the levels 0.45, 0.6 and 0.72.
    assert stats.poisson.ppf(0.45, 400) <= filled <= stats.poisson.ppf(0.72, 400)


@pytest.mark.parametrize("pieces", [0, 80, 100, 140])
def test_chances_are_those_of_the_negative_binomial(pieces):
    # scipy.stats is an independent implementation: size 1 / 0.2² = 25, p = 25 / 125.
    found = demand.chance_of_more(100.0, 0.2, pieces)

    assert found == pytest.approx(stats.nbinom.sf(pieces, 25, 0.2), abs=1e-12)
    without = demand.chance_of_more(100.0, 0.0, pieces)
    assert without == pytest.approx(stats.poisson.sf(pieces, 100.0), abs=1e-12)


def test_normal_chances_are_those_of_the_table():
    # Standard normal tables: 0.8413 at 1, 0.9750 at 1.96 (from memory).
    assert demand.chance_below(1.0, 0.0, 1.0) == pytest.approx(0.8413, abs=5e-5)
    assert demand.chance_below(1.96, 0.0, 1.0) == pytest.approx(0.9750, abs=5e-5)


def test_expected_sales_are_those_of_a_long_sum():
    # Poisson of mean 20 with 20 on the shelf: 20 − 20 · e⁻²⁰ · 20²⁰ / 20! = 18.223.
    assert demand.expected_sales(20.0, 0.0, 20.0) == pytest.approx(18.223, abs=0.02)
    steps = demand.steps(20.0, 0.0)
    assert [step.sold for step in steps] == sorted((step.sold for step in steps), reverse=True)


def test_years_that_differ_no_more_than_chance_have_no_variation():
    # Totals 400 and 420: variance 200, less than the 410 of chance.
    assert expect.variation([400, 420]) == 0
    # 350, 400 and 450: variance 2,500 less 400 of chance, a third more for three years: √2,800 is
    # 52.92; Student's t of 2 degrees at 0.9 is 1.886 (table, from memory), the normal one 1.282.
    assert expect.variation([350, 400, 450]) == pytest.approx(52.92 / 400 * 1.886 / 1.282, abs=1e-4)
    assert expect.variation([400]) is None
