"""What a person may mean by what they typed."""

import pytest

from apiary_sales.finding import rules
from inventory.shared.findable import SearchWords


def read(asked, decimal_sign=".", currency="USD"):
    return rules.read(asked, decimal_sign=decimal_sign, currency=currency)


@pytest.mark.parametrize(
    ("asked", "cents"),
    [
        ("1,284.50", 128_450),
        ("$1284.5", 128_450),
        ("$ 1,284.50", 128_450),
        ("1284.50 USD", 128_450),
        ("-12", 1_200),
        ("0.01", 1),
        ("0", None),
        ("12.345", None),
        ("1,28", None),
        ("1/2", None),
        ("26-001", None),
        ("€12", None),
    ],
)
def test_an_amount_is_read_in_the_number_style_of_the_house(asked, cents):
    assert read(asked).cents == cents


def test_a_house_with_a_decimal_comma_reads_its_own_amounts():
    assert read("1.284,50 €", ",", "EUR").cents == 128_450
    assert read("1,284.50", ",", "EUR").cents is None


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ("L26330-1", "l26330-1"),
        ("l26330 1", "l26330-1"),
        ("(01)09501101530003(15)281126(10)L26330-1", "l26330-1"),
        ("r26 12", "r26-00012"),
        ("K26-7", "k26-0007"),
        ("w26-7", "w26-007"),
        ("09501101530003", "9501101530003"),
    ],
)
def test_a_code_is_read_as_it_is_printed_typed_or_scanned(asked, code):
    assert code in read(asked).codes


def test_a_telephone_number_is_compared_by_its_digits():
    found = rules.text_of(SearchWords(phones=("(612) 555-0142",)))

    assert read("555 0142").phone_part in found
    assert read("612.555.0142").phone_part in found
    assert read("555 01").digits == "55501"
    assert read("12 3").digits == ""


def test_accents_capitals_and_spaces_make_no_difference():
    assert rules.fold("  Íñigo   PEÑA ") == rules.fold("inigo pena") == "inigo pena"


@pytest.mark.parametrize(("asked", "is_short"), [("", True), ("ab", True), ("abc", False)])
def test_a_question_of_one_or_two_letters_is_short(asked, is_short):
    assert read(asked).is_short is is_short
