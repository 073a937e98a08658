"""What every worked example is."""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Self


@dataclass(frozen=True, kw_only=True)
class Example(ABC):
    """The figures of one worked example; `url` is the page where the house shows them."""

    is_invented: bool = False
    url: str = ""

    @classmethod
    @abstractmethod
    def from_the_house(cls) -> Self | None:
        """Return the latest of the house's own figures, or None where there are none."""

    @classmethod
    @abstractmethod
    def invented(cls) -> Self:
        """Return invented figures, worked out by the same code."""


def in_decimals(exact: Fraction) -> Decimal:
    """Return an exact figure as it can be shown; a page rounds it."""
    return Decimal(exact.numerator) / exact.denominator
