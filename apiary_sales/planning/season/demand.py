"""Demand that is not certain, from a mean and by how much years differ.

Pieces of a month come by chance about a mean (Poisson), and the mean itself is higher or lower in
the whole season by a factor that is not known beforehand (gamma). Together that is a negative
binomial distribution (Greenwood and Yule 1920, from memory), whose variance is the mean plus the
square of variation times mean. Without variation it is Poisson. Because the factor is one for the
whole season, months add up: their sum has the same distribution with the sum of their means.

SciPy is imported only when it is needed.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

# Where the steps of expected sales begin, as chances that demand is no more than that.
LEVELS = (0.0, 0.05, 0.15, 0.3, 0.45, 0.6, 0.72, 0.82, 0.89, 0.94, 0.97, 0.985)
# The same for a large house, so that nobody waits for the plan.
FEW_LEVELS = (0.0, 0.3, 0.6, 0.82, 0.94, 0.985)


@dataclass(frozen=True)
class Step:
    """So many pieces more on the shelf, and the share of them that is sold on average."""

    pieces: float
    sold: float


def spread(mean: float, variation: float) -> float:
    """Return the standard deviation of demand with this mean."""
    return math.sqrt(mean + (variation * mean) ** 2)


def expected_sales(mean: float, variation: float, pieces: float) -> float:
    """Return the mean of what is sold of so many pieces: of the smaller of demand and pieces.

    Demand is taken as a gamma distribution with the mean and spread of the negative binomial, so
    that pieces need not be whole.
    """
    from scipy.special import gammainc

    if mean <= 0 or pieces <= 0:
        return 0.0
    shape = mean**2 / (mean + (variation * mean) ** 2)
    at = pieces * shape / mean
    return float(mean * gammainc(shape + 1, at) + pieces * (1 - gammainc(shape, at)))


def steps(mean: float, variation: float, levels: tuple[float, ...] = LEVELS) -> list[Step]:
    """Return expected sales as steps of falling use: of the first pieces almost all are sold.

    The last step is where demand is covered in 985 years of 1,000; more pieces are not expected
    to be sold in that month.
    """
    from scipy.special import gammaincinv

    if mean <= 0:
        return []
    shape = mean**2 / (mean + (variation * mean) ** 2)
    edges = [float(gammaincinv(shape, level)) * mean / shape for level in levels]
    found = []
    for low, high in pairwise(edges):
        width = high - low
        if width > 1e-9:
            gained = expected_sales(mean, variation, high) - expected_sales(mean, variation, low)
            found.append(Step(width, min(1.0, gained / width)))
    return found


def chance_of_more(mean: float, variation: float, pieces: int) -> float:
    """Return the probability that more than so many pieces are wanted (negative binomial)."""
    from scipy.special import betainc, gammainc

    if mean <= 0:
        return 0.0
    if pieces < 0:
        return 1.0
    if variation <= 0:
        return float(gammainc(pieces + 1, mean))
    size = 1 / variation**2
    return float(betainc(pieces + 1, size, mean / (size + mean)))


def chance_below(value: float, mean: float, deviation: float) -> float:
    """Return the probability that a normal figure is below `value`."""
    if deviation <= 0:
        return 1.0 if value >= mean else 0.0
    return 0.5 * math.erfc((mean - value) / (deviation * math.sqrt(2)))


def fractile(product_gain: float, product_loss: float) -> float:
    """Return the share of demand that it pays to cover: the critical ratio of the newsvendor.

    `product_gain` is what one more piece sold gains, `product_loss` what one left over loses
    (Arrow, Harris and Marschak 1951, from memory).
    """
    return product_gain / (product_gain + product_loss)
