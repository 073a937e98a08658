"""Honey that nobody measured: what the pieces say was drawn, and how a measured total is shared."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from inventory.bottling.models import Size
from inventory.bottling.rules import forms_of_honey
from inventory.bottling.rules.filling import EXCESS_ASKED


def honey_grams(
    size: Size,
    *,
    pieces_filled: int,
    pieces_broken: int,
    loss_grams: int,
    overfill_grams: Fraction | None,
) -> int:
    """Return all the honey that so many pieces took, to the gram.

    A filled piece holds its label weight and the average overfill of the last checks, None where
    the size was never checked; a broken one counts at its label weight, as everywhere.
    """
    label = Fraction(size.declared_grams)
    filled = pieces_filled * (label + (overfill_grams or 0))
    return round(filled + pieces_broken * label) + loss_grams


def drawn_grams(
    whole_grams: int, *, seed_percent: Decimal | None, seed_grams: int | None, comb_grams: int
) -> int:
    """Return what of all the honey of a run came from its vessel: not the seed, not the comb.

    `seed_grams` went in where somebody weighed it, else `seed_percent` of all.
    """
    if seed_percent is not None and seed_grams is None:
        seed_grams = forms_of_honey.seed_grams(whole_grams, seed_percent)
    return whole_grams - (seed_grams or 0) - comb_grams


def share_grams(total_grams: int, weights: Sequence[int]) -> list[int]:
    """Share grams out by weights, so that the shares add up to the total exactly.

    Each share is the difference of two rounded running totals.

    >>> share_grams(1000, [1, 1, 1])
    [333, 334, 333]
    """
    whole = sum(weights)
    shares, running, given = [], 0, 0
    for weight in weights:
        running += weight
        upto = round(Fraction(total_grams * running, whole))
        shares.append(upto - given)
        given = upto
    return shares


def is_far_off(drawn_grams: int, estimated_grams: int) -> bool:
    """Tell whether a measured total is so far from the estimate that it is asked about."""
    return abs(drawn_grams - estimated_grams) > estimated_grams * EXCESS_ASKED
