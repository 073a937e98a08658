"""Published linear programmes, re-labelled as honey, through the same functions as the plan page.

The right-hand sides stand for honey, minutes and parts, the unknowns for sizes of jars.
"""

from fractions import Fraction

import pytest

from apiary_sales.planning import programme
from apiary_sales.planning.programme import (
    Honey,
    Need,
    Part,
    PlannedBuyer,
    PlannedProduct,
    Programme,
)


def one_vessel(size_rows, *, grams, minutes, cents, parts=(), pieces_max=None) -> Programme:
    pieces_max = pieces_max or {}
    return Programme(
        honeys=(Honey("tank", grams),),
        products=tuple(PlannedProduct(*row) for row in size_rows),
        buyers=tuple(
            PlannedBuyer(f"stand {key}", key, worth, pieces_max.get(key))
            for key, worth in cents.items()
        ),
        parts=parts,
        minutes=minutes,
    )


def winston_four_products() -> Programme:
    """Winston, Operations Research: max 6a + 10b + 9c + 20d (read)."""
    return one_vessel(
        [
            ("a", 4, 1, (Need("lid", 3),)),
            ("b", 9, 1, (Need("lid", 4),)),
            ("c", 7, 3, (Need("lid", 2),)),
            ("d", 10, 40, (Need("lid", 1),)),
        ],
        grams=600,
        minutes=400,
        parts=(Part("lid", 500),),
        cents={"a": 6, "b": 10, "c": 9, "d": 20},
    )


def hillier_and_lieberman_two_products() -> Programme:
    """Hillier and Lieberman, Introduction to Operations Research: max 3x + 5y.

    Optimum from memory, recomputed by hand: at (2, 6) both 2y = 12 and 3x + 2y = 18 hold, and
    3/2 of the one plus 1 of the other make 3x + 5y ≤ 18 + 18.
    """
    return one_vessel(
        [("x", 3, 0, (Need("jar x"),)), ("y", 2, 0, (Need("jar y", 2),))],
        grams=18,
        minutes=0,
        parts=(Part("jar x", 4), Part("jar y", 12)),
        cents={"x": 3, "y": 5},
    )


def test_winston_four_products_relaxed_earns_2800_thirds():
    # Source: Winston, Operations Research (read): z = 2800/3, duals 22/15, 2/15, 0.
    relaxed = programme.relax(winston_four_products())

    assert relaxed.cents_at_most == Fraction(2800, 3)
    assert relaxed.rates["honey", "tank"] == Fraction(22, 15)
    assert relaxed.rates["minutes", ""] == Fraction(2, 15)
    assert relaxed.rates["part", "lid"] == 0


def test_winston_four_products_in_whole_pieces_is_what_counting_them_all_finds():
    # The best whole numbers are not printed: every mix of b, c and d is tried here, with as many
    # of a as still fit (a earns, so more of it is never worse).
    best = 0
    for d in range(400 // 40 + 1):
        for c in range(600 // 7 + 1):
            for b in range(600 // 9 + 1):
                left = (
                    (600 - 9 * b - 7 * c - 10 * d) // 4,
                    400 - b - 3 * c - 40 * d,
                    (500 - 4 * b - 2 * c - d) // 3,
                )
                if min(left) >= 0:
                    best = max(best, 6 * min(left) + 10 * b + 9 * c + 20 * d)

    answer = programme.solve(winston_four_products())

    assert answer.is_proven
    assert answer.plan.cents == best
    assert list(answer.plan.faults()) == []


def test_hillier_and_lieberman_two_products_earn_36_at_2_and_6():
    # Source: Hillier and Lieberman (memory, recomputed): 36 at (2, 6), duals 0, 3/2, 1.
    answer = programme.solve(hillier_and_lieberman_two_products())
    relaxed = programme.relax(hillier_and_lieberman_two_products())

    assert answer.is_proven
    assert answer.plan.cents == 36
    assert answer.plan.pieces_by_product == {"x": 2, "y": 6}
    assert relaxed.cents_at_most == 36
    assert relaxed.rates["part", "jar x"] == 0
    assert relaxed.rates["part", "jar y"] == Fraction(3, 2)
    assert relaxed.rates["honey", "tank"] == 1


def test_hillier_and_lieberman_limits_say_what_one_more_is_worth():
    # One of 2y ≤ 12 more (13) still makes six of y, though its rate is 3/2: whole pieces only.
    found = {
        (limit.kind, limit.key): limit
        for limit in programme.limits_of(programme.solve(hillier_and_lieberman_two_products()))
    }

    assert found["part", "jar x"].step_cents == 0
    assert not found["part", "jar x"].binds
    assert found["part", "jar x"].left == 2
    assert found["part", "jar y"].step_cents == 0
    assert found["part", "jar y"].rate_cents == Fraction(3, 2)
    assert found["part", "jar y"].binds


# Winston, Operations Research, chapters 3 to 6 and 9, optima and duals from memory, each
# recomputed by hand: the duals below satisfy every column, and price the limits at the optimum.
PUBLISHED_FROM_MEMORY = {
    "two toys: max 3x + 2y; 2x + y ≤ 100; x + y ≤ 80; x ≤ 40; 180; duals 1, 1, 0": (
        one_vessel(
            [("x", 2, 1, ()), ("y", 1, 1, ())],
            grams=100,
            minutes=80,
            cents={"x": 3, "y": 2},
            pieces_max={"x": 40},
        ),
        180,
        {("honey", "tank"): 1, ("minutes", ""): 1, ("buyer", "stand x"): 0},
    ),
    "furniture: max 60d + 30t + 20c; 280 at (2, 0, 8); duals 0, 10, 10, 0": (
        one_vessel(
            [
                ("d", 2, 4, (Need("board", 8),)),
                ("t", Fraction(3, 2), 2, (Need("board", 6),)),
                ("c", Fraction(1, 2), Fraction(3, 2), (Need("board", 1),)),
            ],
            grams=8,
            minutes=20,
            parts=(Part("board", 48),),
            cents={"d": 60, "t": 30, "c": 20},
            pieces_max={"t": 5},
        ),
        280,
        {
            ("part", "board"): 0,
            ("minutes", ""): 10,
            ("honey", "tank"): 10,
            ("buyer", "stand t"): 0,
        },
    ),
}


@pytest.mark.parametrize("name", PUBLISHED_FROM_MEMORY)
def test_winston_whole_optima_and_their_prices(name):
    published, cents, rates = PUBLISHED_FROM_MEMORY[name]

    answer = programme.solve(published)
    relaxed = programme.relax(published)

    assert answer.is_proven
    assert answer.plan.cents == cents
    assert relaxed.cents_at_most == cents
    assert {name: relaxed.rates[name] for name in rates} == rates


def test_winston_tables_and_chairs_lose_by_wholeness():
    # Winston, Operations Research, branch and bound: max 8x + 5y; x + y ≤ 6; 9x + 5y ≤ 45.
    # Parted 165/4 at (15/4, 9/4), whole 40 at (5, 0) (memory, recomputed: duals 5/4 and 3/4).
    tables_and_chairs = one_vessel(
        [("x", 9, 1, ()), ("y", 5, 1, ())], grams=45, minutes=6, cents={"x": 8, "y": 5}
    )

    answer = programme.solve(tables_and_chairs)
    relaxed = programme.relax(tables_and_chairs)

    assert answer.plan.cents == 40
    assert answer.plan.pieces_by_product == {"x": 5, "y": 0}
    assert relaxed.cents_at_most == Fraction(165, 4)
    assert relaxed.rates["honey", "tank"] == Fraction(3, 4)
    assert relaxed.rates["minutes", ""] == Fraction(5, 4)
