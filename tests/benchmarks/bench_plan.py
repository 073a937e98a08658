"""How long the bottling plan of a real house takes, and how near it is to the best.

Run by name, apart from the tests, and read what it prints:

    python -m pytest -s tests/benchmarks/bench_plan.py

Houses are drawn by a seed: 60 vessels, 12 products, 8 channels, honey of several prices, parts and
hours that run short. What is meant: the best plan proven, or none that earns a thousandth more, in
5 s. Where drums are sold full only, the gap is only told. Small houses are planned with their
vessels in pools and vessel by vessel, where the best is proven, so that what pooling costs is seen.
"""

import random
import time
from fractions import Fraction
from math import floor

import pytest

from apiary_sales.planning import programme
from apiary_sales.planning.programme import (
    POUND_GRAMS,
    Honey,
    Need,
    Part,
    PlannedBuyer,
    PlannedProduct,
    Programme,
    pools,
    proof,
)

SECONDS = 5
OUNCES = (4, 8, 12, 16, 24, 32, 48, 80, 128, 192, 8, 16)
# What a channel pays of the price at the stand, and how much of all that is sold it takes.
CHANNELS = ((100, 30), (88, 14), (84, 12), (80, 10), (76, 10), (72, 9), (70, 8), (66, 7))


def drawn_house(
    seed: int,
    *,
    tanks: int = 8,
    drums: int = 52,
    products: int = 12,
    channels: int = 8,
    in_full_drums: bool = False,
    hours: int = 120,
) -> Programme:
    """Draw a house; the last products are of a variety, so that some honey never goes into them."""
    draw = random.Random(seed)
    bids = [Fraction(draw.randint(180, 290), 100) for _each in range(4)]
    varieties = frozenset(f"p{n}" for n in range(10, products))
    drum = floor(650 * POUND_GRAMS)
    honeys = []
    for number in range(tanks + drums):
        is_tank = number < tanks
        kind = draw.randrange(4)
        grams = floor(draw.uniform(300, 3000) * POUND_GRAMS) if is_tank else drum
        if not is_tank and draw.random() < 0.8:
            grams += draw.randint(-9000, 4000)
        cents = bids[kind] * 100
        whole = cents * grams / POUND_GRAMS
        never_in = frozenset() if kind == 3 else varieties
        if in_full_drums:
            unit, earns = (drum, cents * drum / POUND_GRAMS) if is_tank else (grams, whole)
            honeys.append(Honey(f"v{number}", grams, unit, earns, never_in))
        else:
            standing = None if is_tank else whole
            honeys.append(Honey(f"v{number}", grams, POUND_GRAMS, cents, never_in, standing))
    filled, buyers, parts = [], [], [Part("lid", draw.randint(9000, 15_000), 14, 2000, 14)]
    for number, ounces in enumerate(OUNCES[:products]):
        key = f"p{number}"
        grams = round(ounces * POUND_GRAMS / 16 * Fraction(draw.randint(101, 104), 100))
        jar = 30 + 2 * ounces
        filled.append(
            PlannedProduct(
                key,
                grams,
                Fraction(draw.randint(25, 60), 100) + Fraction(ounces, 160),
                (Need(f"jar {key}"), Need("lid"), Need(f"case {key}", 1, 12)),
            )
        )
        wanted = draw.randint(200, 2400) * 16 // (ounces + 8)
        parts.append(Part(f"jar {key}", draw.randint(wanted // 2, wanted * 2), jar, 500, jar))
        parts.append(Part(f"case {key}", draw.randint(40, 200), 90, 100, 90))
        for place, (paid, share) in enumerate(CHANNELS[:channels]):
            net = (250 + 55 * ounces) * paid // 100 + draw.randint(-20, 20)
            buyers.append(
                PlannedBuyer(
                    f"{key} c{place}", key, net, wanted * share * draw.randint(5, 20) // 1000
                )
            )
    return Programme(
        honeys=tuple(honeys),
        products=tuple(filled),
        buyers=tuple(buyers),
        parts=tuple(parts),
        minutes=hours * 60,
        cents_per_minute=Fraction(2000, 60),
        minutes_per_run=15,
        cents_per_run=200,
        least_pieces=12,
    )


def told(name: str, given: Programme, answer: programme.Answer, seconds: float) -> str:
    gap = answer.cents_at_most - answer.plan.cents
    bound = "bound exact" if answer.is_bound_exact else "bound by the search"
    return (
        f"{name:<42}{seconds:6.2f} s  ${float(answer.plan.cents) / 100:>11,.2f}"
        f"  gap {float(100 * gap / answer.plan.cents):.4f} %"
        f"  {'proven' if answer.is_proven else bound:<20}"
        f"{len(answer.plan.pieces):>4} runs from {len({key for key, _p in answer.plan.pieces})},"
        f" {len(pools.pools_of(given))} pools"
    )


@pytest.mark.parametrize("in_full_drums", [False, True], ids=["by weight", "full drums"])
@pytest.mark.parametrize("hours", [60, 200])
def test_a_real_house_is_planned_in_time(in_full_drums, hours):
    print()
    for seed in range(5):
        given = drawn_house(seed, in_full_drums=in_full_drums, hours=hours)
        began = time.perf_counter()

        answer = programme.solve(given, seconds=SECONDS)

        seconds = time.perf_counter() - began
        kind = "full drums" if in_full_drums else "by weight"
        print(told(f"60 vessels, {kind}, {hours} h, seed {seed}", given, answer, seconds))
        assert list(answer.plan.faults()) == []
        assert in_full_drums or answer.is_proven or answer.is_close


def test_pools_earn_what_the_vessels_earn_in_a_small_house(monkeypatch):
    print()
    for seed in range(5):
        given = drawn_house(seed, tanks=1, drums=4, products=3, channels=2, hours=10)
        found = {}
        for name, small_columns in (("vessel by vessel", 10_000), ("in pools", 0)):
            monkeypatch.setattr(proof, "SMALL_COLUMNS", small_columns)
            began = time.perf_counter()
            found[name] = programme.solve(given, seconds=30 if small_columns else SECONDS)
            seconds = time.perf_counter() - began
            print(told(f"5 vessels, {name}, seed {seed}", given, found[name], seconds))
        best, together = found["vessel by vessel"], found["in pools"]
        assert together.plan.cents <= best.cents_at_most
        assert best.plan.cents <= together.cents_at_most
