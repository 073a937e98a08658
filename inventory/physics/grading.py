"""Colour classes, grades and limits that depend on one measurement.

Source: United States Standards for Grades of Extracted Honey, effective 23 May 1985 (read); for
the European limits Directive 2001/110/EC, annex II (read).
"""

from __future__ import annotations

from typing import Any, Literal

from .lazy import np
from .ranges import Range, alike

# The Pfund wedge ends at 140 mm; photometers that imitate it read a little further.
PFUND_MM = Range("colour", "mm Pfund", 0, 150)
MOISTURE = Range("moisture", "g per 100 g", 10, 30)

COLOUR_CLASSES = (
    "Water White",
    "Extra White",
    "White",
    "Extra Light Amber",
    "Light Amber",
    "Amber",
    "Dark Amber",
)
COLOUR_MM_UP_TO = (8, 17, 34, 50, 85, 114)

MOISTURE_GRADES = ("U.S. Grade A", "U.S. Grade C", "Substandard")
GRADE_MOISTURE_UP_TO = (18.6, 20.0)

EuropeanKind = Literal["general", "heather", "bakers", "bakers_heather"]
EUROPEAN_MOISTURE_UP_TO: dict[EuropeanKind, float] = {
    "general": 20.0,
    "heather": 23.0,
    "bakers": 23.0,
    "bakers_heather": 25.0,
}


def colour_class(pfund_mm: Any) -> Any:
    """Return the colour class of the United States standard for a colour in mm Pfund.

    Each class includes its upper end: 8 is Water White, 8.1 Extra White. Raises ValueError outside
    0 to 150 mm.

    >>> colour_class(50.0)
    'Extra Light Amber'
    """
    return _named(PFUND_MM.floats(pfund_mm), COLOUR_MM_UP_TO, COLOUR_CLASSES)


def moisture_grade(moisture: Any) -> Any:
    """Return the best grade of the United States standard that the moisture allows.

    Moisture, g per 100 g: up to 18.6 "U.S. Grade A" (B has the same limit; only flavour, clarity
    and absence of defects tell B from A), up to 20.0 "U.S. Grade C", above "Substandard". The grade
    of a honey is its worst factor, so this is a ceiling. Raises ValueError outside 10 to 30.

    >>> moisture_grade(18.6)
    'U.S. Grade A'
    """
    return _named(MOISTURE.floats(moisture), GRADE_MOISTURE_UP_TO, MOISTURE_GRADES)


def meets_european_moisture_limit(moisture: Any, kind: EuropeanKind = "general") -> Any:
    """Return whether honey of a kind may be sold as honey in the European Union by its moisture.

    Moisture in g per 100 g: at most 20 in general, 23 for heather (Calluna) and for baker's honey,
    25 for baker's honey from heather. Raises ValueError outside 10 to 30, and for another kind.
    """
    if kind not in EUROPEAN_MOISTURE_UP_TO:
        raise ValueError(f"The kind must be one of {', '.join(EUROPEAN_MOISTURE_UP_TO)}: {kind!r}.")
    return alike(_steady(MOISTURE.floats(moisture)) <= EUROPEAN_MOISTURE_UP_TO[kind])


def _named(values: np.ndarray, up_to: tuple[float, ...], names: tuple[str, ...]) -> Any:
    return alike(np.array(names)[np.searchsorted(up_to, _steady(values), side="left")])


def _steady(values: np.ndarray) -> np.ndarray:
    """Drop the noise of float arithmetic, so that a mean of 18.6 stays at 18.6."""
    return np.round(values, 9)
