"""Vessels that are alike to a plan, taken together: the search counts runs, not vessels.

Two drums of the same honey at the same price can be swapped in any plan, and a search that tells
them apart looks at every swap. A pool is all of them together. It gives what its vessels give and
never less, so what a plan of pools earns is a bound; `share_out` says which vessel a product is to
be filled from, and the plan of the vessels is then worked out for these runs alone.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import floor

from apiary_sales.planning.programme.problem import (
    BulkColumn,
    Figure,
    Honey,
    PlannedProduct,
    Programme,
)

# So much of the honey is wanted where what is left at the borders of vessels counts.
TIGHT = Fraction(9, 10)


@dataclass(frozen=True)
class VesselPool:
    """Vessels that fill the same products, and whose honey brings the same for each gram."""

    vessels: tuple[Honey, ...]

    @property
    def key(self) -> str:
        """The key of the first vessel."""
        return self.vessels[0].key

    @property
    def grams(self) -> Figure:
        return sum(vessel.grams for vessel in self.vessels)

    @property
    def never_in(self) -> frozenset[str]:
        return self.vessels[0].never_in

    @property
    def runs_max(self) -> int:
        return len(self.vessels)

    @property
    def bulk(self) -> tuple[BulkColumn, ...]:
        """Whole vessels, those of one weight counted together; or all of it by the gram."""
        first = self.vessels[0]
        if len(self.vessels) == 1:
            return first.bulk
        rate = _cents_per_gram(first)
        if rate is None:
            return ()
        if _is_sold_whole_only(first):
            weights = Counter(vessel.grams for vessel in self.vessels)
            are_alike = len(weights) == 1
            return tuple(
                BulkColumn("whole", grams, grams * rate, count, is_whole=are_alike)
                for grams, count in weights.items()
            )
        return (BulkColumn("grams", 1, rate, floor(self.grams), is_whole=False),)

    def pieces_max(self, product: PlannedProduct) -> int:
        return sum(vessel.pieces_max(product) for vessel in self.vessels)

    def run_max(self, product: PlannedProduct) -> int:
        return max(vessel.pieces_max(product) for vessel in self.vessels)


def pools_of(programme: Programme) -> tuple[VesselPool, ...]:
    """Return the honey of a programme in pools, in the order of their first vessels.

    Honey that is sold in full drums only, out of tanks, is not pooled: what does not fill a drum
    in one of them can be most of a drum.
    """
    found: dict[object, list[Honey]] = defaultdict(list)
    for honey in programme.honeys:
        kind: object = "by weight"
        if honey.bulk_grams is None and honey.whole_cents is None:
            kind = "unsold"
        elif _is_sold_whole_only(honey):
            kind = "whole"
        elif honey.whole_cents is None:
            kind = honey.key
        found[kind, _cents_per_gram(honey), honey.never_in].append(honey)
    return tuple(VesselPool(tuple(vessels)) for vessels in found.values())


def of_one_price(programme: Programme) -> tuple[VesselPool, ...]:
    """Return the honey that can be taken from one vessel as well as from another, by price."""
    found: dict[object, list[Honey]] = defaultdict(list)
    for honey in programme.honeys:
        found[_cents_per_gram(honey), honey.never_in].append(honey)
    return tuple(VesselPool(tuple(vessels)) for vessels in found.values())


def share_out(
    programme: Programme,
    pools: tuple[VesselPool, ...],
    pieces: Mapping[tuple[str, str], int],
    drums_left: Mapping[str, int],
) -> set[tuple[str, str]]:
    """Return which product is filled from which vessel, so that the pieces of pools come out.

    The vessels of a pool are opened in their order. A product goes where all of it fits, into the
    vessel that has the least room left; only where no vessel has room for all of it is it shared
    out, so that there are as few runs as can be.
    """
    product_of = programme.product_of
    named = set()
    for pool in pools:
        wanted = sorted(
            ((product_of[key], count) for (of, key), count in pieces.items() if of == pool.key),
            key=lambda each: (-each[1] * each[0].grams_each, each[0].key),
        )
        vessels = pool.vessels
        if pool.key in drums_left:
            grams = sum(count * product.grams_each for product, count in wanted)
            vessels = _opened(pool.vessels, drums_left[pool.key], grams)
        named |= _shared_out(vessels, wanted)
    return named


def _opened(vessels: tuple[Honey, ...], count: int, grams: Figure) -> tuple[Honey, ...]:
    """Return so many drums to open of which the least is left over: what is left is not sold."""
    by_weight = sorted(vessels, key=lambda vessel: vessel.grams)
    windows = [by_weight[first : first + count] for first in range(len(vessels) - count + 1)]
    enough = (window for window in windows if sum(vessel.grams for vessel in window) >= grams)
    return tuple(next(enough, windows[-1]))


def _shared_out(
    vessels: tuple[Honey, ...], wanted: list[tuple[PlannedProduct, int]]
) -> set[tuple[str, str]]:
    left: dict[str, Figure] = {}
    shut = list(vessels)
    named = set()
    needed = sum(count * product.grams_each for product, count in wanted)
    is_tight = needed > TIGHT * sum(vessel.grams for vessel in vessels)
    for product, count in wanted:
        each = Fraction(product.grams_each)
        while count:
            roomy = [key for key, grams in left.items() if grams >= count * each]
            if roomy:
                key = min(roomy, key=lambda key: left[key])
            elif shut:
                # Where nearly all honey is wanted, a vessel that comes out even is opened first.
                opened = min(shut, key=lambda vessel: vessel.grams % each) if is_tight else shut[0]
                shut.remove(opened)
                key = opened.key
                left[key] = opened.grams
            elif left:
                key = max(left, key=lambda key: left[key])
            else:
                break
            taken = min(count, floor(left[key] / each))
            if not taken:
                break
            named.add((key, product.key))
            left[key] -= taken * each
            count -= taken
    return named


def _is_sold_whole_only(honey: Honey) -> bool:
    return (honey.whole_cents is not None and honey.bulk_grams is None) or (
        honey.bulk_grams is not None and honey.bulk_grams == honey.grams
    )


def _cents_per_gram(honey: Honey) -> Fraction | None:
    """Return what a gram brings at most in bulk; None where nobody takes it in bulk."""
    rates = [Fraction(bulk.cents) / Fraction(bulk.grams) for bulk in honey.bulk if bulk.grams]
    return max(rates, default=None)
