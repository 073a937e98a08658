"""GS1 General Specifications: check digit of GTIN-8, -12, -13 and -14.

Worked examples: GS1 India, 890400021003 → 7 (read); a UPC description, 03600024145 → 7 (read);
GS1's own 629104150021 → 3 (from memory). The rest are worked by hand beside the test.
"""

import numpy as np
import pytest

from inventory.physics import gtin

EXAMPLES = [
    ("890400021003", 7),
    ("03600024145", 7),
    ("629104150021", 3),
    # 3·9 + 6 + 3·3 + 8 + 3·5 + 0 + 3·7 = 86, up to 90
    ("9638507", 4),
    # the same digits with a leading indicator: 3·1 is added to the sum of 629104150021, 57 → 60
    ("1629104150021", 0),
    ("0000000", 0),
]


@pytest.mark.parametrize(("digits", "check"), EXAMPLES)
def test_the_check_digit(digits, check):
    assert gtin.gtin_check_digit(digits) == check


@pytest.mark.parametrize(("digits", "check"), EXAMPLES)
def test_only_the_right_check_digit_is_valid(digits, check):
    valid = [digit for digit in range(10) if gtin.is_valid_gtin(f"{digits}{digit}")]

    assert valid == [check]


def test_an_array_of_texts_gives_arrays():
    texts = np.array(["8904000210037", "8904000210038"])

    assert gtin.is_valid_gtin(texts).tolist() == [True, False]
    assert gtin.gtin_check_digit(["9638507", "03600024145"]).tolist() == [4, 7]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "7",
        "123456789",
        "0360002414570000",
        "89040002l0037",
        "８９０４０００２１００３７",
        " 96385074",
    ],
)
def test_a_text_of_the_wrong_length_or_not_of_digits_is_no_gtin(text):
    assert gtin.is_valid_gtin(text) is False


@pytest.mark.parametrize(
    "digits", ["", "123456", "12345678", "12345678901234", "12345a7", "²³45678"]
)
def test_a_check_digit_is_made_only_for_7_11_12_or_13_digits(digits):
    with pytest.raises(ValueError, match="for 7, 11, 12 or 13 digits"):
        gtin.gtin_check_digit(digits)


@pytest.mark.parametrize("value", [8904000210037, None, 1.5, True])
def test_a_number_is_no_gtin_since_its_leading_zeros_are_lost(value):
    with pytest.raises(ValueError, match="A GTIN is text"):
        gtin.is_valid_gtin(value)
    with pytest.raises(ValueError, match="A GTIN is text"):
        gtin.gtin_check_digit(value)


def test_every_single_wrong_digit_is_found():
    right = "8904000210037"

    for place in range(13):
        for digit in "0123456789":
            changed = right[:place] + digit + right[place + 1 :]
            assert gtin.is_valid_gtin(changed) is (changed == right)
