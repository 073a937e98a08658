"""The bottling plan as pure arithmetic: against brute force, and the laws every plan must keep."""

import itertools
from dataclasses import replace
from fractions import Fraction
from unittest import mock

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apiary_sales.planning import programme
from apiary_sales.planning.programme import (
    Honey,
    Need,
    Part,
    Plan,
    PlannedBuyer,
    PlannedProduct,
    Programme,
    pools,
    proof,
    search,
)
from apiary_sales.planning.programme.search import WholeCounts

OUT_OF_TIME = WholeCounts(None, is_finished=False)
cents = st.fractions(min_value=0, max_value=50, max_denominator=60)


@st.composite
def programmes(draw) -> Programme:
    """Draw a house so small that every plan can be counted out."""
    products = tuple(
        PlannedProduct(
            key,
            draw(st.integers(2, 6)),
            draw(st.fractions(min_value=0, max_value=3, max_denominator=4)),
            needs,
        )
        for key, needs in (
            ("small", (Need("lid"), Need("case", 1, draw(st.integers(2, 3))))),
            ("large", (Need("lid", 2),)),
        )
    )
    honeys = tuple(
        Honey(
            key,
            draw(st.integers(0, 12)),
            draw(st.none() | st.integers(3, 9)),
            draw(cents),
        )
        for key in ("tank", "pail")
    )
    if draw(st.booleans()):
        # Two drums at one price a gram, sold as they stand or by the unit once they are opened.
        each, unit = draw(cents) / 10, draw(st.integers(1, 3))
        honeys = tuple(
            Honey(
                honey.key,
                honey.grams,
                unit,
                each * unit,
                whole_cents=each * honey.grams if honey.grams else None,
            )
            for honey in honeys
        )
    buyers = tuple(
        PlannedBuyer(
            f"{place} {product}", product, draw(cents), draw(st.none() | st.integers(0, 3))
        )
        for product in ("small", "large")
        for place in ("stand", "shop")
    )
    parts = []
    for key in ("lid", "case"):
        order_cents = draw(cents)
        stock_cents = draw(st.sampled_from([Fraction(0), order_cents / 2, order_cents]))
        parts.append(
            Part(key, draw(st.integers(0, 6)), stock_cents, draw(st.integers(0, 3)), order_cents)
        )
    return Programme(
        honeys=honeys,
        products=products,
        buyers=buyers,
        parts=tuple(parts),
        minutes=draw(st.integers(0, 15)),
        cents_per_minute=draw(cents) / 10,
        minutes_per_run=draw(st.sampled_from([0, 0, 2])),
        cents_per_run=draw(st.sampled_from([0, 0, 7])),
        least_pieces=draw(st.sampled_from([0, 0, 2])),
    )


def best_by_counting(given: Programme) -> Fraction:
    """Try every number of pieces from every vessel, and sell the rest as well as can be."""
    best = Fraction(0)
    small, large = given.products
    lids, cases = given.parts
    ranges = [
        range(int(honey.grams // product.grams_each) + 1)
        for honey in given.honeys
        for product in given.products
    ]
    for small_1, large_1, small_2, large_2 in itertools.product(*ranges):
        runs = sum(1 for count in (small_1, large_1, small_2, large_2) if count)
        minutes = (
            (small_1 + small_2) * small.minutes_each
            + (large_1 + large_2) * large.minutes_each
            + runs * given.minutes_per_run
        )
        if minutes > given.minutes:
            continue
        if any(0 < count < given.least_pieces for count in (small_1, large_1, small_2, large_2)):
            continue
        earned = -minutes * given.cents_per_minute - runs * given.cents_per_run
        lids_used = small_1 + small_2 + 2 * (large_1 + large_2)
        per_case = small.needs[1].per_pieces
        cases_used = (small_1 + per_case - 1) // per_case + (small_2 + per_case - 1) // per_case
        for part, used in ((lids, lids_used), (cases, cases_used)):
            from_stock = min(used, part.stock)
            if used - from_stock > part.order_max:
                break
            earned -= from_stock * part.stock_cents + (used - from_stock) * part.order_cents
        else:
            vessels = ((small_1, large_1), (small_2, large_2))
            for honey, (smalls, larges) in zip(given.honeys, vessels, strict=True):
                left = honey.grams - smalls * small.grams_each - larges * large.grams_each
                if left < 0:
                    break
                by_unit = left // honey.bulk_grams * honey.bulk_cents if honey.bulk_grams else 0
                is_shut = honey.whole_cents is not None and left == honey.grams
                earned += max(by_unit, honey.whole_cents) if is_shut else by_unit
            else:
                takings = [
                    _takings(given, "small", small_1 + small_2),
                    _takings(given, "large", large_1 + large_2),
                ]
                if None not in takings:
                    best = max(best, earned + sum(takings))
    return best


def _takings(given: Programme, product: str, count: int) -> Fraction | None:
    takings = Fraction(0)
    for buyer in sorted(given.buyers, key=lambda buyer: buyer.cents_each, reverse=True):
        if buyer.product == product:
            taken = count if buyer.pieces_max is None else min(count, buyer.pieces_max)
            takings += taken * buyer.cents_each
            count -= taken
    return None if count else takings


@settings(max_examples=60, deadline=None)
@given(programmes())
def test_the_plan_earns_exactly_what_counting_out_every_plan_finds(given):
    answer = programme.solve(given)

    assert answer.is_proven
    assert answer.plan.cents == best_by_counting(given)
    assert answer.cents_at_most == answer.plan.cents


@settings(max_examples=60, deadline=None)
@given(programmes())
def test_no_plan_earns_less_than_all_drums_or_more_than_its_bound_or_uses_more_than_there_is(given):
    plan = programme.solve(given).plan

    assert plan.cents >= programme.all_in_drums(given).cents
    assert plan.cents <= programme.relax(given).cents_at_most
    for honey in given.honeys:
        assert plan.grams_used[honey.key] <= honey.grams
    assert plan.minutes_used <= given.minutes
    for part in given.parts:
        assert plan.parts_used[part.key] <= part.stock + part.order_max
    for buyer in given.buyers:
        assert buyer.pieces_max is None or plan.sold.get(buyer.key, 0) <= buyer.pieces_max
    assert list(plan.faults()) == []


@settings(max_examples=60, deadline=None)
@given(programmes())
def test_a_plan_of_pools_keeps_every_limit_and_none_earns_more_than_it_says(given):
    with mock.patch.object(proof, "SMALL_COLUMNS", 0):
        answer = programme.solve(given)

    assert list(answer.plan.faults()) == []
    assert answer.plan.cents <= best_by_counting(given) <= answer.cents_at_most


@settings(max_examples=15, deadline=None)
@given(programmes())
def test_one_more_of_a_limit_earns_what_solving_again_with_it_earns(given):
    answer = programme.solve(given)

    for limit in programme.limits_of(answer, seconds=60):
        more = {
            "honey": lambda limit=limit: replace(
                given,
                honeys=tuple(
                    replace(h, grams=h.grams + programme.POUND_GRAMS) if h.key == limit.key else h
                    for h in given.honeys
                ),
            ),
            "part": lambda limit=limit: replace(
                given,
                parts=tuple(
                    replace(p, stock=p.stock + 1) if p.key == limit.key else p for p in given.parts
                ),
            ),
            "minutes": lambda: replace(given, minutes=given.minutes + 60),
            "buyer": lambda limit=limit: replace(
                given,
                buyers=tuple(
                    replace(b, pieces_max=b.pieces_max + 1) if b.key == limit.key else b
                    for b in given.buyers
                ),
            ),
        }[limit.kind]()
        # A pound is a hundred times this house: what it earns is too much to count out.
        if limit.kind != "honey":
            assert limit.step_cents == best_by_counting(more) - answer.plan.cents
        assert limit.step_cents >= 0
        assert limit.left >= 0


@settings(max_examples=30, deadline=None)
@given(programmes(), st.data())
def test_given_sales_are_kept_to_the_piece_or_refused(given, data):
    best = programme.solve(given).plan
    sales = {buyer.key: data.draw(st.integers(0, 2)) for buyer in given.buyers}

    answer = programme.solve_with_sales(given, sales)

    if answer is None:
        assert sales != {buyer.key: 0 for buyer in given.buyers}
    else:
        assert {key: answer.plan.sold.get(key, 0) for key in sales} == sales
        fits = all(b.pieces_max is None or sales[b.key] <= b.pieces_max for b in given.buyers)
        assert not fits or answer.plan.cents <= best.cents


def house(**fields) -> Programme:
    """Two tanks, two products, a stand and a shop, in figures like those of a real house."""
    return replace(
        Programme(
            honeys=(
                Honey("tank-1", 580_000, 294_835, 1_722_50),
                Honey("tank-2", 235_000, 294_835, 1_365_00),
            ),
            products=(
                PlannedProduct(
                    "pound", 463, Fraction("0.65"), (Need("jar"), Need("lid"), Need("case", 1, 12))
                ),
                PlannedProduct(
                    "half", 233, Fraction("0.72"), (Need("half jar"), Need("case", 1, 12))
                ),
            ),
            buyers=(
                PlannedBuyer("stand pound", "pound", 950, 300),
                PlannedBuyer("shop pound", "pound", 680, 600),
                PlannedBuyer("stand half", "half", 550, 150),
                PlannedBuyer("shop half", "half", 390, 300),
            ),
            parts=(
                Part("jar", 480, 62, 300, 62),
                Part("lid", 600, 14, 0, 14),
                Part("half jar", 384, 45, 0, 45),
                Part("case", 90, 90, 50, 90),
            ),
            minutes=12 * 60,
            cents_per_minute=Fraction(1950, 60),
            minutes_per_run=15,
        ),
        **fields,
    )


def test_a_house_of_usual_product_is_planned_and_priced_within_seconds():
    answer = programme.solve(house())
    limits = programme.limits_of(answer)

    assert answer.is_proven
    assert list(answer.plan.faults()) == []
    assert all(limit.step_cents is not None for limit in limits)
    assert answer.plan.cents > programme.all_in_drums(house()).cents


def test_without_time_the_plan_is_at_least_all_drums_and_says_that_it_is_not_proven(monkeypatch):
    monkeypatch.setattr(search, "whole_counts", lambda _table, **_limits: OUT_OF_TIME)

    answer = programme.solve(house())

    assert answer.plan == programme.all_in_drums(house())
    assert not answer.is_proven
    assert answer.cents_at_most == programme.relax(house()).cents_at_most
    assert all(limit.step_cents is None for limit in programme.limits_of(answer))


def test_a_search_that_breaks_a_limit_is_not_believed(monkeypatch):
    def wrong(table, **_limits):
        return WholeCounts([1_000_000] * len(table.earns), is_finished=True)

    monkeypatch.setattr(search, "whole_counts", wrong)

    answer = programme.solve(house())

    assert answer.plan == programme.all_in_drums(house())
    assert not answer.is_proven


def test_faults_name_every_limit_a_plan_breaks():
    given = house(
        minutes=60, parts=(Part("jar", 1), Part("lid", 2), Part("half jar", 0), Part("case", 1))
    )

    plan = Plan(
        given,
        pieces={("tank-1", "pound"): 2000, ("tank-2", "half"): 1},
        drums={"tank-2": 1},
        sold={"stand pound": 301},
    )

    assert list(plan.faults()) == [
        "tank-1 gives 926000 g of 580000 g",
        "tank-2 gives 295068 g of 235000 g",
        "the work takes 33268/25 of 60 minutes",
        "1999 jar to buy, 0 to be had",
        "1998 lid to buy, 0 to be had",
        "1 half jar to buy, 0 to be had",
        "167 case to buy, 0 to be had",
        "2000 pound filled, 301 sold",
        "1 half filled, 0 sold",
        "stand pound takes 300, not 301",
    ]


def test_a_house_without_anything_has_a_plan_that_earns_nothing():
    answer = programme.solve(Programme(honeys=(), products=(), buyers=()))

    assert answer.is_proven
    assert answer.plan.cents == 0
    assert programme.relax(answer.plan.programme).cents_at_most == 0
    assert [limit.kind for limit in programme.limits_of(answer)] == ["minutes"]


def test_a_product_is_not_filled_from_honey_that_does_not_go_into_it():
    given = house()
    dense = replace(given.honeys[0], never_in=frozenset({"pound"}))
    given = replace(given, honeys=(dense, given.honeys[1]))

    plan = programme.solve(given).plan

    assert ("tank-1", "pound") not in plan.pieces
    assert plan.pieces["tank-2", "pound"] > 0
    wrong = Plan(given, {("tank-1", "pound"): 1}, {}, {"stand pound": 1})
    assert list(wrong.faults()) == ["pound is not filled from tank-1"]


def drums(*grams: int, **fields) -> Programme:
    """Drums at 2 c a gram, sold as they stand; a jar of 100 g brings 500 c."""
    return Programme(
        honeys=tuple(
            Honey(f"drum-{number}", each, 10, 20, whole_cents=2 * each)
            for number, each in enumerate(grams, start=1)
        ),
        products=(PlannedProduct("pound", 100, 0), PlannedProduct("half", 50, 0)),
        buyers=(
            PlannedBuyer("stand", "pound", 500, 12),
            PlannedBuyer("stand half", "half", 200, 4),
        ),
        minutes=600,
        **fields,
    )


def test_pieces_of_a_pool_are_shared_out_to_as_few_vessels_as_hold_them():
    given = drums(1000, 1000, 1000)
    [pool] = programme.pools_of(given)

    shared = pools.share_out(given, (pool,), {("drum-1", "pound"): 12, ("drum-1", "half"): 4}, {})

    # Ten pounds fill the first drum; the other two and four halves go together into the second.
    assert [vessel.key for vessel in pool.vessels] == ["drum-1", "drum-2", "drum-3"]
    assert shared == {("drum-1", "pound"), ("drum-2", "pound"), ("drum-2", "half")}


@pytest.mark.parametrize("small_columns", [0, 150])
def test_what_is_left_of_an_opened_drum_is_sold_by_weight_and_the_others_as_they_stand(
    monkeypatch, small_columns
):
    monkeypatch.setattr(proof, "SMALL_COLUMNS", small_columns)

    plan = programme.solve(drums(1005, 1005, 1005)).plan

    # 1,200 g and 200 g in jars; two drums opened have 610 g left, and 5 of each fill no unit.
    assert plan.cents == 12 * 500 + 4 * 200 + 60 * 20 + 2 * 1005
    assert len(plan.whole) == 1


def test_of_vessels_that_earn_the_same_the_first_is_opened_first():
    tank = Honey("tank", 1000, 10, 20)
    given = replace(drums(), honeys=(tank, *drums(1000).honeys))
    last = Plan(given, {("drum-1", "pound"): 8}, {"drum-1": 20, "tank": 100}, {"stand": 8})

    answer = programme.in_order(proof.Answer(last, True, last.cents))

    assert {key for key, _product in answer.plan.pieces} == {"tank"}
    assert answer.plan.cents >= last.cents


def test_honey_of_other_prices_or_for_other_products_is_another_pool():
    honeys = (
        Honey("tank", 1000, 10, 20),
        Honey("drum-1", 1000, 10, 20, whole_cents=2000),
        Honey("drum-2", 700, 10, 20, whole_cents=1400),
        Honey("drum-3", 700, 10, 30, whole_cents=2100),
        Honey("drum-4", 700, 10, 20, frozenset({"pound"}), whole_cents=1400),
    )
    given = replace(drums(), honeys=honeys)

    found = [[vessel.key for vessel in pool.vessels] for pool in programme.pools_of(given)]

    assert found == [["tank"], ["drum-1", "drum-2"], ["drum-3"], ["drum-4"]]


def test_a_run_that_earns_less_than_its_set_up_or_is_too_small_is_not_made():
    one = drums(1000)
    halves = replace(one, buyers=one.buyers[1:])

    # Four halves bring 800 c and take honey of 400 c.
    assert programme.solve(replace(halves, cents_per_run=399)).plan.pieces
    assert not programme.solve(replace(halves, cents_per_run=401)).plan.pieces
    small = replace(halves, least_pieces=5)
    assert programme.solve(small).plan.pieces == {}
    assert programme.solve(replace(small, least_pieces=4)).plan.pieces == {("drum-1", "half"): 4}


def test_a_case_begun_is_a_case_used_in_each_run():
    given = Programme(
        honeys=(Honey("tank-1", 1300), Honey("tank-2", 100)),
        products=(PlannedProduct("pound", 100, 0, (Need("case", 1, 12),)),),
        buyers=(PlannedBuyer("stand", "pound", 50, None),),
        parts=(Part("case", 3, 40, 0, 40),),
    )

    # 13 from tank 1 take two cases: the second for one jar earns 50 − 40, so it is worth it.
    plan = programme.solve(given).plan

    assert plan.pieces == {("tank-1", "pound"): 13, ("tank-2", "pound"): 1}
    assert plan.parts_used == {"case": 3}
    assert plan.cents == 14 * 50 - 3 * 40


def test_jars_on_the_shelf_are_sold_to_the_best_payers_first():
    buyers = (
        PlannedBuyer("shop", "pound", 680, 60),
        PlannedBuyer("stand", "pound", 950, 10),
        PlannedBuyer("anybody", "half", 100, None),
    )

    rest = programme.less_on_hand(buyers, {"pound": 14, "half": 5})

    assert [(buyer.key, buyer.pieces_max) for buyer in rest.buyers] == [
        ("shop", 56),
        ("stand", 0),
        ("anybody", None),
    ]
    assert rest.spare == {"pound": 0, "half": 5}


def one_product(pieces_max: int, **fields) -> Programme:
    """A product that brings 500 c; 60 c of jar, 50 c of honey sold in bulk, 10 c of work in it."""
    return Programme(
        honeys=(Honey("tank", 10_000, 100, 50),),
        products=(PlannedProduct("pound", 100, 1, (Need("jar"),)),),
        buyers=(PlannedBuyer("stand", "pound", 500, pieces_max),),
        parts=(Part("jar", 200, 60),),
        **{"minutes": 600, "cents_per_minute": 10, **fields},
    )


@pytest.mark.parametrize("pieces_max", [0, 1])
def test_a_piece_is_worth_its_price_less_jar_honey_and_work_also_to_who_takes_none(pieces_max):
    relaxed = programme.relax(one_product(pieces_max))

    assert relaxed.rates["buyer", "stand"] == 500 - 60 - 50 - 10
    assert relaxed.cents_at_most == 100 * 50 + pieces_max * 380


def test_many_pieces_for_who_takes_none_share_one_set_up():
    # 100 pieces fit: a hundredth of 20 minutes at 10 c is 2 c for each.
    given = one_product(0, minutes_per_run=20)

    assert programme.relax(given).rates["buyer", "stand"] == 380 - 2
    # One alone bears it all.
    [buyer] = [x for x in programme.limits_of(programme.solve(given)) if x.kind == "buyer"]
    assert buyer.step_cents == 380 - 200


@pytest.mark.parametrize(("minutes", "rate"), [(0, 0), (20, 0), (21, 378)])
def test_a_piece_is_worth_nothing_to_who_takes_none_while_no_run_can_be_set_up(minutes, rate):
    given = one_product(0, minutes_per_run=20, minutes=minutes)

    assert programme.relax(given).rates["buyer", "stand"] == rate


def test_a_piece_is_worth_nothing_to_who_takes_none_while_its_parts_are_not_to_be_had():
    given = replace(one_product(0), parts=(Part("jar", 0, 60),))

    assert programme.relax(given).rates["buyer", "stand"] == 0


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"minutes": -1}, "labour is less than zero"),
        ({"honeys": (Honey("tank-1", -1),)}, "honey of tank-1 is less than zero"),
        ({"honeys": (Honey("tank-1", 1, 0),)}, "a bulk unit of tank-1 has no weight"),
        ({"parts": ()}, "product pound needs unknown jar"),
        ({"products": ()}, "buyer stand pound wants unknown pound"),
        (
            {"products": (PlannedProduct("pound", 0), PlannedProduct("half", 1))},
            "product pound takes no honey",
        ),
    ],
)
def test_figures_that_contradict_each_other_are_refused(wrong, told):
    with pytest.raises(ValueError, match=told):
        house(**wrong)
