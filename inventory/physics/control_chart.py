"""Control chart of averages: is filling as steady from one check to the next as within a check?

A Shewhart chart of averages (X-bar) with limits from the standard deviations of its samples.

Sources.
- ASTM Manual on Presentation of Data and Control Chart Analysis (MNL 7), part 3, "no standard
  given" (from memory): centre line the average of all pieces; limits three standard errors either
  side. Samples of one size: average ± A3 times the mean of their standard deviations. Samples of
  several sizes: sigma is the mean of s/c4 over the samples, and each sample has limits of its own,
  average ± 3 sigma/√n. The second is the first where all sizes are one, since A3 = 3/(c4 √n).
- NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.1 (from memory): c4, and limits for
  averages by s; 20 or more samples before the limits are relied on.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

SIGMAS = 3
# With fewer samples than these the limits still move much with each new one.
SAMPLES_FOR_STEADY_LIMITS = 20
PIECES_FOR_A_SPREAD = 2
SAMPLES_FOR_LIMITS = 2


@dataclass(frozen=True)
class ControlLimits:
    """The centre line of averages, and the standard deviation of one piece, in grams.

    `sigma_g` is None while there are not samples enough for limits. `samples` is how many of them
    showed a spread.
    """

    centre_g: float
    sigma_g: float | None
    samples: int

    @property
    def is_provisional(self) -> bool:
        """Whether there are too few samples to rely on the limits."""
        return self.samples < SAMPLES_FOR_STEADY_LIMITS

    def of(self, pieces: int) -> tuple[float, float] | None:
        """Return the lower and upper limit for the average of so many pieces; None without limits.

        Raises ValueError for no pieces.
        """
        if pieces < 1:
            raise ValueError("An average needs at least one piece.")
        if self.sigma_g is None:
            return None
        room = SIGMAS * self.sigma_g / math.sqrt(pieces)
        return self.centre_g - room, self.centre_g + room


def control_limits(samples: Sequence[Sequence[float]]) -> ControlLimits:
    """Return centre line and sigma from the net weights, in grams, of samples of any size.

    A piece counts once for the centre line. Samples of one piece show no spread and count for the
    centre line alone; two samples with a spread are the least for limits. Raises ValueError
    without any weight.

    >>> control_limits([[9.0, 11.0], [10.0, 12.0], [8.0, 10.0]]).centre_g
    10.0
    """
    weights = [weight for sample in samples for weight in sample]
    if not weights:
        raise ValueError("A control chart needs at least one weight.")
    spreads = [
        statistics.stdev(sample) / c4(len(sample))
        for sample in samples
        if len(sample) >= PIECES_FOR_A_SPREAD
    ]
    sigma = statistics.fmean(spreads) if len(spreads) >= SAMPLES_FOR_LIMITS else None
    return ControlLimits(statistics.fmean(weights), sigma, len(spreads))


def c4(pieces: int) -> float:
    """Return the mean standard deviation of samples of so many pieces, as a share of sigma.

    Raises ValueError for fewer than 2 pieces.

    >>> round(c4(5), 4)
    0.94
    """
    if pieces < PIECES_FOR_A_SPREAD:
        raise ValueError("One piece shows no spread: weigh at least 2 pieces.")
    # By logarithms, since the gamma function itself is too large from 171 pieces on.
    ratio = math.exp(math.lgamma(pieces / 2) - math.lgamma((pieces - 1) / 2))
    return math.sqrt(2 / (pieces - 1)) * ratio


def a3(pieces: int) -> float:
    """Return A3: by how many mean standard deviations the limits of averages are apart from them.

    Raises ValueError for fewer than 2 pieces.

    >>> round(a3(5), 3)
    1.427
    """
    return SIGMAS / (c4(pieces) * math.sqrt(pieces))
