"""The blend of least value: against every blend there is, and with whole grams that keep limits."""

import itertools
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apiary_sales.planning.blending import (
    BlendProblem,
    BlendSource,
    Mixture,
    Span,
    WayOut,
    reach,
    solve,
    ways_out,
)
from apiary_sales.planning.blending.ways_out import with_limit

CENT = Fraction(1)


def honey(key: str, grams: int, cents: int, moisture: int, colour: int | None = 300, **fields):
    return BlendSource(key, grams, Fraction(cents, 1000), moisture, colour, **fields)


def every_mixture(problem: BlendProblem) -> Iterator[Mixture]:
    """Yield each mixture in whole grams that keeps every limit, by trying all of them."""
    for grams in itertools.product(*(range(source.grams + 1) for source in problem.sources)):
        keys = [source.key for source in problem.sources]
        mixture = problem.mixture(dict(zip(keys, grams, strict=True)))
        if keeps(problem, mixture):
            yield mixture


def keeps(problem: BlendProblem, mixture: Mixture) -> bool:
    """Check a mixture in the words of the issue, apart from the code under test."""
    there = [(problem.there, problem.there.grams)] if problem.there else []
    poured = [
        (source, mixture.grams.get(source.key, 0))
        for source in problem.sources
        if mixture.grams.get(source.key, 0)
    ]
    total = sum(grams for _source, grams in poured + there)
    if not total or not within(Fraction(total), problem.grams):
        return False
    for source in problem.sources:
        taken = mixture.grams.get(source.key, 0)
        if taken < source.least or taken > source.grams:
            return False
        if source.is_whole and taken not in (0, source.grams):
            return False
        if 0 < taken < min(problem.least_each, source.grams):
            return False
    if problem.vessels_max is not None and len(poured) > problem.vessels_max:
        return False
    for measure, span in (("colour", problem.colour), ("moisture", problem.moisture)):
        if span.low is None and span.high is None:
            continue
        mean = Fraction(
            sum(getattr(source, measure) * grams for source, grams in poured + there), total
        )
        if not within(mean, span):
            return False
    return True


def within(figure: Fraction, span: Span) -> bool:
    return (span.low is None or figure >= span.low) and (span.high is None or figure <= span.high)


# ------------------------------------------------------------------ worked by hand


def test_two_drums_are_mixed_by_the_lever_rule():
    """20 mm and 60 mm to at most 30 mm: three parts to one, and the darker one is the cheaper."""
    problem = BlendProblem(
        (honey("light", 400_000, 500, 1700, 200), honey("dark", 400_000, 300, 1700, 600)),
        Span(200_000, 200_000),
        colour=Span(None, 300),
    )

    answer = solve(problem)

    assert answer.mixture.grams == {"light": 150_000, "dark": 50_000}
    assert answer.mixture.cents == 150_000 * Fraction(1, 2) + 50_000 * Fraction(3, 10)
    assert answer.cents_more_at_most < CENT


def test_wet_honey_is_brought_below_the_limit_by_dry_honey():
    """19.8 % and 17.0 % to 18.6 %: by the lever rule 4 : 3, rounded to the dry side."""
    problem = BlendProblem(
        (honey("wet", 400_000, 100, 1980), honey("dry", 400_000, 400, 1700)),
        Span(100_000, 100_000),
        moisture=Span(None, 1860),
    )

    answer = solve(problem)

    assert answer.mixture.grams == {"wet": 57_142, "dry": 42_858}


def test_what_is_in_the_target_is_part_of_the_blend_and_of_its_weight():
    """50 kg at 60 mm are there; 150 kg at 20 mm bring them to 30 mm."""
    problem = BlendProblem(
        (honey("light", 400_000, 500, 1700, 200),),
        Span(200_000, None),
        colour=Span(None, 300),
        there=honey("target", 50_000, 0, 1700, 600),
    )

    answer = solve(problem)

    assert answer.mixture.grams == {"light": 150_000}
    assert answer.mixture.total == 200_000


def test_drums_that_are_used_whole_are_emptied_or_left():
    drums = tuple(
        honey(f"drum-{number}", 290_000 + number, 300 + number, 1700, is_whole=True)
        for number in range(1, 5)
    )

    answer = solve(BlendProblem(drums, Span(560_000, None)))

    assert answer.mixture.grams == {"drum-1": 290_001, "drum-2": 290_002}


def test_no_more_vessels_than_asked_for_are_opened():
    cheap = tuple(honey(f"pail-{number}", 30_000, 100, 1700) for number in range(5))
    problem = BlendProblem((*cheap, honey("tank", 500_000, 200, 1700)), Span(150_000, 150_000))

    few = solve(replace(problem, vessels_max=2)).mixture
    many = solve(problem).mixture

    assert len(few.grams) == 2
    assert few.grams["tank"] == 120_000
    assert len(many.grams) == 5


def test_a_lot_that_must_be_used_is_used_although_it_is_dear():
    problem = BlendProblem(
        (honey("dear", 10_000, 900, 1700, least=4_000), honey("cheap", 90_000, 100, 1700)),
        Span(50_000, 50_000),
    )

    assert solve(problem).mixture.grams == {"dear": 4_000, "cheap": 46_000}


def test_not_less_is_drawn_from_a_vessel_than_is_worth_it():
    problem = BlendProblem(
        (honey("cheap", 99_000, 100, 1700), honey("dear", 90_000, 900, 1700)),
        Span(100_000, 100_000),
        least_each=5_000,
    )

    assert solve(problem).mixture.grams == {"cheap": 95_000, "dear": 5_000}


def test_a_colour_that_is_asked_for_must_be_known():
    with pytest.raises(ValueError, match="The colour of drum is not known"):
        BlendProblem((honey("drum", 1000, 1, 1700, None),), Span(1, 1), colour=Span(None, 300))


# ------------------------------------------------------------------ what stands in the way


def test_the_limit_that_stands_in_the_way_is_named_with_the_nearest_figure():
    """100 kg of 20 mm and any amount of 60 mm: 200 kg are 40 mm at the lightest."""
    problem = BlendProblem(
        (honey("light", 100_000, 500, 1700, 200), honey("dark", 400_000, 300, 1800, 600)),
        Span(200_000, 200_000),
        colour=Span(None, 300),
        moisture=Span(None, 1790),
    )

    assert solve(problem).mixture is None
    # With 100 kg of the light honey, 33,333 g of the dark one are 30 mm.
    assert ways_out(problem) == [WayOut("colour_max", 400), WayOut("grams_min", 133_333)]


def test_too_few_vessels_are_named_with_how_many_are_needed():
    pails = tuple(honey(f"pail-{number}", 30_000, 100, 1700) for number in range(5))
    problem = BlendProblem(pails, Span(100_000, 100_000), vessels_max=2)

    assert ways_out(problem) == [WayOut("vessels_max", 4), WayOut("grams_min", 60_000)]


def test_whole_drums_that_overshoot_are_named_with_what_they_weigh():
    drums = tuple(honey(f"drum-{number}", 300_000, 100, 1700, is_whole=True) for number in range(3))
    problem = BlendProblem(drums, Span(400_000, 500_000))

    assert ways_out(problem) == [WayOut("grams_min", 300_000), WayOut("grams_max", 600_000)]


def test_where_several_limits_stand_in_the_way_none_of_them_is_named():
    problem = BlendProblem(
        (honey("only", 100_000, 500, 1900, 600),),
        Span(50_000, 50_000),
        colour=Span(None, 300),
        moisture=Span(None, 1800),
    )
    free = replace(problem, colour=Span(), moisture=Span())

    assert ways_out(problem) == []
    colour, moisture = reach(free, "colour"), reach(free, "moisture")
    assert (colour.low, colour.high) == (600, 600)
    assert (moisture.low, moisture.high) == (1900, 1900)


def test_there_is_no_blend_without_honey():
    problem = BlendProblem((), Span(1000, 1000))

    assert solve(problem).mixture is None
    assert ways_out(problem) == []


# ------------------------------------------------------------------ against every blend there is

small = st.builds(
    lambda *, number, grams, cents, moisture, colour, is_whole, uses: BlendSource(
        f"v{number}",
        grams,
        Fraction(cents, 7),
        moisture,
        colour,
        least=grams if uses == 0 else 0,
        is_whole=is_whole,
    ),
    number=st.just(0),
    grams=st.integers(1, 9),
    cents=st.integers(1, 40),
    moisture=st.integers(1600, 2000),
    colour=st.integers(50, 900),
    is_whole=st.booleans(),
    uses=st.integers(0, 6),
)


@st.composite
def problems(draw, sources=small, most=9):
    found = draw(st.lists(sources, min_size=1, max_size=3))
    found = tuple(replace(source, key=f"v{at}") for at, source in enumerate(found))
    total = sum(source.grams for source in found)
    low = draw(st.integers(1, total))
    colour = draw(st.integers(60, 900))
    moisture = draw(st.integers(1600, 2000))
    there = draw(st.none() | st.integers(1, most))
    return BlendProblem(
        found,
        Span(low, draw(st.none() | st.integers(low, total))),
        colour=draw(st.sampled_from([Span(), Span(None, colour), Span(colour - 60, colour)])),
        moisture=draw(st.sampled_from([Span(), Span(None, moisture), Span(moisture, None)])),
        vessels_max=draw(st.none() | st.integers(1, 3)),
        least_each=draw(st.integers(1, 3)),
        there=None
        if there is None
        else BlendSource("t", there, Fraction(0), draw(st.integers(1600, 2000)), 400),
    )


@settings(max_examples=120, deadline=None)
@given(problems())
def test_no_blend_is_cheaper_and_none_is_missed(problem):
    """Grams are few here, so that whole grams differ most from what floats find."""
    possible = list(every_mixture(problem))

    answer = solve(problem)

    if answer.mixture is not None:
        assert keeps(problem, answer.mixture)
        cheapest = min(mixture.cents for mixture in possible)
        assert cheapest <= answer.mixture.cents < cheapest + CENT
        assert answer.cents_at_least <= cheapest + Fraction(1, 10**6)
    elif answer.is_finished:
        assert possible == []


big = st.builds(
    BlendSource,
    key=st.just(""),
    grams=st.integers(5_000, 1_800_000),
    cents_per_gram=st.integers(100, 800).map(lambda cents: Fraction(cents, 1000)),
    moisture=st.integers(1500, 2100),
    colour=st.integers(50, 1100),
    is_whole=st.booleans(),
)


@settings(max_examples=60, deadline=None)
@given(problems(big, 300_000))
def test_rounded_grams_keep_every_limit(problem):
    answer = solve(problem)

    if answer.mixture is None:
        return
    assert keeps(problem, answer.mixture)
    assert answer.cents_more_at_most < 5 * CENT
    assert {type(grams) for grams in answer.mixture.grams.values()} <= {int}


@settings(max_examples=40, deadline=None)
@given(problems(big, 300_000))
def test_what_is_told_as_nearest_can_be_reached(problem):
    if solve(problem).mixture is not None:
        return

    for way in ways_out(problem):
        eased = with_limit(problem, way.limit, way.nearest)
        mixture = solve(eased).mixture
        assert mixture is not None
        assert keeps(eased, mixture)
