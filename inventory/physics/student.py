"""Student's t distribution for whole degrees of freedom.

Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4 (from memory;
compared with an independent implementation in the tests): with θ = arctan(t/√ν), the probability
that |T| stays below t is a finite series in sin θ and cos θ.
"""

from __future__ import annotations

import math

from .lazy import np
from .ranges import Range

PROBABILITY = Range("probability", "(0.5 to 0.9999)", 0.5, 0.9999)
DEGREES_OF_FREEDOM = Range("degrees of freedom", "degrees of freedom", 1, 1_000_000)
HALVINGS = 60


def student_t_quantile(probability: float, degrees_of_freedom: int) -> float:
    """Return the t below which a share `probability` of Student's distribution lies.

    Raises ValueError for a probability outside 0.5 to 0.9999, and for degrees of freedom that are
    not whole or below 1.

    >>> round(student_t_quantile(0.975, 11), 4)
    2.201
    """
    wanted = 2 * float(PROBABILITY.floats(probability)) - 1
    freedom = int(DEGREES_OF_FREEDOM.whole_numbers(degrees_of_freedom))
    low, high = 0.0, math.pi / 2
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if _inside(middle, freedom) < wanted:
            low = middle
        else:
            high = middle
    return math.sqrt(freedom) * math.tan((low + high) / 2)


def _inside(angle: float, freedom: int) -> float:
    """The probability that |T| stays below √ν tan(angle)."""
    sine, cosine = math.sin(angle), math.cos(angle)
    terms = freedom // 2
    if freedom % 2:
        # 26.7.3: 2/π [θ + sin θ (cos θ + 2/3 cos³θ + 2·4/3·5 cos⁵θ + …)]
        step = np.arange(1, terms)
        factors = 2 * step / (2 * step + 1) * cosine**2
        series = cosine * _sum_of_products(factors) if terms else 0.0
        return 2 / math.pi * (angle + sine * series)
    # 26.7.4: sin θ (1 + 1/2 cos²θ + 1·3/2·4 cos⁴θ + …)
    step = np.arange(1, terms)
    factors = (2 * step - 1) / (2 * step) * cosine**2
    return sine * _sum_of_products(factors)


def _sum_of_products(factors: np.ndarray) -> float:
    """1 + a + ab + abc + …"""
    return 1.0 + float(np.cumprod(factors).sum())
