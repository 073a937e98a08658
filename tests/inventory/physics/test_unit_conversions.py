"""What people type becomes exact grams and litres, or a sentence."""

import re
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.physics import units

cheap = settings(derandomize=True, deadline=None, max_examples=200)
amounts = st.decimals(0, 1_000_000, places=3)


@cheap
@given(amounts)
def test_a_weight_is_the_same_in_a_smaller_unit(amount):
    assert units.grams_from(amount, "kg") == units.grams_from(1000 * amount, "g")
    assert units.grams_from(amount, "lb") == units.grams_from(16 * amount, "oz")


@cheap
@given(amounts)
def test_a_volume_is_the_same_in_a_smaller_unit(amount):
    assert units.litres_from(amount, "L") == units.litres_from(1000 * amount, "mL")
    assert units.litres_from(amount, "gal") == units.litres_from(4 * amount, "qt")
    assert units.litres_from(amount, "gal") == units.litres_from(128 * amount, "fl_oz")


@pytest.mark.parametrize(
    ("convert", "unit", "sentence"),
    [
        (units.grams_from, "gal", "gal is a volume; a weight is wanted: g, kg, lb or oz."),
        (units.grams_from, "L", "L is a volume; a weight is wanted: g, kg, lb or oz."),
        (
            units.grams_from,
            "stone",
            "stone is not a unit we know; a weight is wanted: g, kg, lb or oz.",
        ),
        (
            units.litres_from,
            "lb",
            "lb is a weight; a volume is wanted: L, mL, gal, qt or fl_oz.",
        ),
        (
            units.litres_from,
            None,
            "None is not a unit we know; a volume is wanted: L, mL, gal, qt or fl_oz.",
        ),
    ],
)
def test_a_unit_that_does_not_fit_is_told_with_those_that_do(convert, unit, sentence):
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}$"):
        convert(Decimal(1), unit)


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        (1.5, "An exact decimal number is wanted, not 1.5."),
        ("1.5", "An exact decimal number is wanted, not '1.5'."),
        (None, "An exact decimal number is wanted, not None."),
        (True, "An exact decimal number is wanted, not True."),
        (Decimal("NaN"), "A finite number is wanted, not NaN."),
        (Decimal("Infinity"), "A finite number is wanted, not Infinity."),
        (Decimal("-0.5"), "An amount is 0 or more, not -0.5."),
    ],
)
def test_an_amount_that_is_none_is_refused(amount, words):
    with pytest.raises(ValueError, match=f"^{re.escape(words)}$"):
        units.grams_from(amount, "lb")
    with pytest.raises(ValueError, match=f"^{re.escape(words)}$"):
        units.litres_from(amount, "gal")
    with pytest.raises(ValueError, match=f"^{re.escape(words)}$"):
        units.round_grams(amount)


@pytest.mark.parametrize(
    ("grams", "whole"),
    [
        ("339.5", 340),
        ("340.499999", 340),
        ("340.5", 340),
        ("340.500001", 341),
        ("341.5", 342),
        ("453.59237", 454),
        ("0", 0),
    ],
)
def test_half_a_gram_rounds_to_the_even_gram(grams, whole):
    rounded = units.round_grams(Decimal(grams))

    assert rounded == whole
    assert type(rounded) is int


def test_answers_are_written_without_powers_of_ten_or_trailing_zeros():
    assert str(units.grams_from(Decimal("1000"), "kg")) == "1000000"
    assert str(units.grams_from(Decimal("2.500"), "kg")) == "2500"
    assert str(units.litres_from(Decimal("250"), "mL")) == "0.25"
