"""Drums on a scale as they leave: a load shared among them, and what differs too much.

A vehicle scale weighs all drums of a load together. Their own weights on the books say how much of
it each has.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction


def share_load(load_grams: int, book_grams: Sequence[int]) -> list[int]:
    """Return how much of a load each drum has, by its weight on the books; they add up to the load.

    Each share is rounded down to whole grams, and the grams that are left go one by one to the
    drums with the largest remainder, the first of several that are equal.

    >>> share_load(1000, [300, 300, 300])
    [334, 333, 333]
    """
    whole = sum(book_grams)
    exact = [Fraction(load_grams * grams, whole) for grams in book_grams]
    shares = [int(share) for share in exact]
    by_remainder = sorted(range(len(exact)), key=lambda index: shares[index] - exact[index])
    for index in by_remainder[: load_grams - sum(shares)]:
        shares[index] += 1
    return shares


def differs_too_much(weighed_grams: int, book_grams: int, tolerance_percent: Decimal) -> bool:
    """Tell whether a weight is further from the books than the house lets pass without asking.

    >>> differs_too_much(1010, 1000, Decimal(1)), differs_too_much(989, 1000, Decimal(1))
    (False, True)
    """
    return abs(weighed_grams - book_grams) * 100 > book_grams * tolerance_percent
