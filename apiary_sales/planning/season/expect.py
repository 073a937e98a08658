"""What earlier years let a season expect: means by month, and by how much years differ."""

import math
import statistics
from collections.abc import Iterable, Mapping, Sequence

from inventory.physics.student import student_t_quantile

# Nine in ten lie below this many standard deviations above the mean (standard normal table).
BELOW, NORMAL_BELOW = 0.9, 1.2816
# By how much sales and harvests of a year differ, while nobody knows: guesses, and said to be some.
# To take what is not known for zero would sell honey that a good year needs.
GUESSED_OF_SALES, GUESSED_OF_HARVEST = 0.2, 0.3
# Years that differ by more than their mean are no history to plan by.
MOST = 1.0


def variation(totals: Sequence[float]) -> float | None:
    """Return by how much the next year may differ beyond chance, as a share of the mean.

    By moments: the variance of the totals of whole years less their mean, which is what chance
    alone would give, over the square of the mean. Few years show neither their mean nor their
    spread for certain, so it is widened as a prediction interval of Student is: by one part in n of
    the variance, and to where nine in ten lie below (common practice). None from fewer than two
    years: not known.
    """
    if len(totals) < 2:
        return None
    mean = statistics.fmean(totals)
    if mean <= 0:
        return 0.0
    beyond = max(0.0, statistics.variance(totals) - mean)
    wider = student_t_quantile(BELOW, len(totals) - 1) / NORMAL_BELOW
    return min(MOST, wider * math.sqrt(beyond * (1 + 1 / len(totals))) / mean)


def shared(variations: Iterable[float | None], weights: Iterable[float]) -> float | None:
    """Return the variation of a house: that of its products, the ones that sell more counting more.

    A few years of one product say little, so a product counts with that of the house at least.
    """
    known = [
        (value, weight)
        for value, weight in zip(variations, weights, strict=True)
        if value is not None
    ]
    whole = sum(weight for _value, weight in known)
    if not known or whole <= 0:
        return None
    return math.sqrt(sum(value**2 * weight for value, weight in known) / whole)


def year_totals(by_month: Mapping[int, float], known: Sequence[int], now: int) -> list[float]:
    """Return the totals of the whole years before month `now`, the newest first.

    Months are counted without end (year times 12 plus month); `known` are those that are known.
    """
    there, found = set(known), []
    last = now - 1
    while all(month in there for month in range(last - 11, last + 1)):
        found.append(sum(by_month.get(month, 0) for month in range(last - 11, last + 1)))
        last -= 12
    return found


def month_mean(by_month: Mapping[int, float], known: Sequence[int], month: int) -> float | None:
    """Return the mean of the known months that are the same of the year; None without any."""
    same = [by_month.get(each, 0) for each in known if each % 12 == month % 12]
    return statistics.fmean(same) if same else None
