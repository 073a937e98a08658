"""What honeys are together, in exact figures: the mass-weighted means of moisture and colour.

Moisture adds up by mass, because it is a share of the mass. Colour in mm Pfund does so only
roughly: the grader reads a length of an amber wedge, and what adds up in a mixture is how much
light each honey takes away, colour by colour; a dark honey often tints a blend more than its share.
So a blend's colour by arithmetic is an approximation, to be confirmed by a small trial blend
(common practice).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from inventory.physics.grading import COLOUR_CLASSES, COLOUR_MM_UP_TO

BlendLimit = Literal[
    "grams_min", "grams_max", "colour_min", "colour_max", "moisture_min", "moisture_max"
]

# A trial blend of so many grams fills a jar of a pound; a kitchen scale weighs its parts.
TRIAL_GRAMS = 500
COLOUR_STEP_MM = Decimal("0.1")


@dataclass(frozen=True)
class BlendPart:
    """So many grams of honey, with its moisture and its colour; None where that is unknown."""

    grams: int
    moisture_percent: Decimal
    colour_mm: Decimal | None = None


@dataclass(frozen=True)
class BlendLimits:
    """What a blend must keep, both ends included; None where anything is right."""

    grams_min: int
    grams_max: int | None = None
    colour_mm_min: Decimal | None = None
    colour_mm_max: Decimal | None = None
    moisture_percent_min: Decimal | None = None
    moisture_percent_max: Decimal | None = None

    @property
    def has_colour(self) -> bool:
        return self.colour_mm_min is not None or self.colour_mm_max is not None

    def broken_by(self, parts: Sequence[BlendPart]) -> list[BlendLimit]:
        """Name the limits that a blend of these parts breaks, by its exact means.

        A blend whose colour is unknown breaks each limit of the colour.
        """
        grams = sum(part.grams for part in parts)
        if not grams:
            return ["grams_min"]
        colour, moisture = mean_colour(parts), mean_moisture(parts)
        broken: list[tuple[BlendLimit, bool]] = [
            ("grams_min", grams < self.grams_min),
            ("grams_max", self.grams_max is not None and grams > self.grams_max),
            ("colour_min", _is_below(colour, self.colour_mm_min)),
            ("colour_max", _is_above(colour, self.colour_mm_max)),
            ("moisture_min", _is_below(moisture, self.moisture_percent_min)),
            ("moisture_max", _is_above(moisture, self.moisture_percent_max)),
        ]
        return [name for name, is_broken in broken if is_broken]


def mean_moisture(parts: Sequence[BlendPart]) -> Fraction:
    """Return the mass-weighted moisture in percent, exact; the parts have some grams."""
    return _mean((part.moisture_percent, part.grams) for part in parts)


def mean_colour(parts: Sequence[BlendPart]) -> Fraction | None:
    """Return the mass-weighted colour in mm Pfund, exact; None where that of any part is unknown.

    It is an approximation: see the head of this module.
    """
    known = [
        (part.colour_mm, part.grams) for part in parts if part.colour_mm is not None and part.grams
    ]
    if len(known) < sum(1 for part in parts if part.grams):
        return None
    return _mean(known)


def class_range(colour_class: str) -> tuple[Decimal | None, Decimal | None]:
    """Return from which to which mm Pfund a colour class goes, in steps of a tenth.

    None where it has no end. Each class includes its upper end (United States Standards for Grades
    of Extracted Honey, 1985): White is over 17 to 34 mm.

    >>> class_range("White")
    (Decimal('17.1'), Decimal('34'))
    """
    at = COLOUR_CLASSES.index(colour_class)
    low = None if at == 0 else COLOUR_MM_UP_TO[at - 1] + COLOUR_STEP_MM
    high = Decimal(COLOUR_MM_UP_TO[at]) if at < len(COLOUR_MM_UP_TO) else None
    return low, high


def _mean(figures: Iterable[tuple[Decimal, int]]) -> Fraction:
    figures = list(figures)
    grams = sum(weight for _figure, weight in figures)
    return sum((Fraction(figure) * weight for figure, weight in figures), Fraction(0)) / grams


def _is_below(mean: Fraction | None, least: Decimal | None) -> bool:
    return least is not None and (mean is None or mean < Fraction(least))


def _is_above(mean: Fraction | None, most: Decimal | None) -> bool:
    return most is not None and (mean is None or mean > Fraction(most))
