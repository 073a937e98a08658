"""What a month is likely to bring, from the same month of earlier years, and how sure that is."""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Estimate:
    """The average of the years that are known, and by how much they differ.

    `mean` is None while no year is known: unknown, not zero. `spread` is the sample standard
    deviation, and None with fewer than two years.
    """

    mean: Decimal | None
    spread: Decimal | None
    years: int

    @classmethod
    def of(cls, figures: Sequence[int]) -> "Estimate":
        """Make the estimate from the figure of each year."""
        if not figures:
            return cls(None, None, 0)
        mean = Decimal(sum(figures)) / len(figures)
        spread = Decimal(statistics.stdev(figures)) if len(figures) > 1 else None
        return cls(mean, spread, len(figures))

    @property
    def is_known(self) -> bool:
        return self.mean is not None

    @property
    def least_spread(self) -> Decimal:
        """The spread to reckon with in pieces: never less than that of counts that come by chance.

        Such counts (Poisson) have the square root of their mean as their standard deviation. A few
        years that happen to be alike do not make the next one certain.
        """
        return max(self.spread or Decimal(0), (self.mean or Decimal(0)).sqrt())
