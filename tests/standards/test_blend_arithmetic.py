"""The means of a blend against the Pearson square, and colour classes against the US standard.

Pearson square: the hand method by which feed and dairy mixers find the parts of two stocks for a
wanted share (Karl Pearson's square; from memory). The parts are the differences across the square:
19.8 % and 17.0 % for 18.6 % are (18.6 − 17.0) : (19.8 − 18.6) = 1.6 : 1.2 parts.

Colour classes: United States Standards for Grades of Extracted Honey, effective 23 May 1985, the
table of colour designations (mm Pfund): white over 17 to and including 34, and so on.
"""

from decimal import Decimal
from fractions import Fraction

import pytest

from inventory.stock.blends import BlendPart, class_range, mean_colour, mean_moisture


@pytest.mark.parametrize(
    ("first", "second", "wanted", "parts"),
    [
        ("19.8", "17.0", "18.6", (16, 12)),
        ("20.0", "16.0", "17.0", (1, 3)),
        ("18.5", "17.5", "18.0", (5, 5)),
    ],
)
def test_parts_by_the_pearson_square_have_the_wanted_moisture(first, second, wanted, parts):
    mixed = [
        BlendPart(parts[0] * 1000, Decimal(first), Decimal(10)),
        BlendPart(parts[1] * 1000, Decimal(second), Decimal(10)),
    ]

    assert mean_moisture(mixed) == Fraction(wanted)


def test_parts_by_the_pearson_square_have_the_wanted_colour():
    """20 mm and 60 mm for 30 mm are 30 : 10 parts."""
    light = BlendPart(30, Decimal(17), Decimal(20))
    dark = BlendPart(10, Decimal(17), Decimal(60))

    assert mean_colour([light, dark]) == 30


def test_the_colour_is_unknown_where_that_of_a_part_is():
    known = BlendPart(30, Decimal(17), Decimal(20))

    assert mean_colour([known, BlendPart(1, Decimal(17))]) is None
    assert mean_colour([known, BlendPart(0, Decimal(17))]) == 20


@pytest.mark.parametrize(
    ("colour_class", "over", "up_to"),
    [
        ("Water White", None, "8"),
        ("Extra White", "8", "17"),
        ("White", "17", "34"),
        ("Extra Light Amber", "34", "50"),
        ("Light Amber", "50", "85"),
        ("Amber", "85", "114"),
        ("Dark Amber", "114", None),
    ],
)
def test_the_words_of_the_standard_are_these_millimetres(colour_class, over, up_to):
    low, high = class_range(colour_class)

    # "Over 17": the next that is read to a tenth.
    assert low == (None if over is None else Decimal(over) + Decimal("0.1"))
    assert high == (None if up_to is None else Decimal(up_to))
