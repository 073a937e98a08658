"""Figures in sentences. Expected values are worked out by hand from exact factors.

1 lb = 453.59237 g and 1 US gallon = 3.785411784 L: NIST Handbook 44, appendix C (read).
"""

from dataclasses import replace
from decimal import Decimal

import pytest

from inventory.shared import conventions, words
from inventory.shared.templatetags import quantities


@pytest.mark.parametrize(
    ("grams", "expected"),
    [
        ((226_796, 181_437), ("500 lb", "400 lb")),
        ((200_035, 200_000), ("441.0 lb", "440.9 lb")),  # 441.002 and 440.925 lb
        ((200_035, 200_033), ("441.002 lb", "440.997 lb")),
        ((100_001, 100_000), ("220.464 lb", "220.462 lb")),  # a gram is 0.0022 lb
        ((45_359, 0), ("100 lb", "0.0 lb")),
        ((200_000, 200_000), ("441 lb", "441 lb")),
    ],
)
def test_weights_that_are_compared_are_told_apart(grams, expected):
    assert words.weights_apart(*grams) == expected


def test_volumes_that_are_compared_are_told_apart():
    # 1,000 L are 264.17 gal, 1,000.5 L are 264.30 gal.
    assert words.volumes_apart(Decimal(1000), Decimal("1000.5")) == ("264.2 gal", "264.3 gal")


@pytest.mark.parametrize(
    ("currency", "expected"),
    [("USD", "$1,284.50"), ("EUR", "€1,284.50"), ("CHF", "1,284.50 CHF")],
)
def test_sentences_write_money_as_pages_do(currency, expected):
    conventions.use(replace(conventions.current(), currency=currency))

    assert words.money(128_450) == expected
    assert expected.split(" ")[0] in quantities.money(128_450)
    assert words.money(-128_450) == f"−{expected}"


@pytest.mark.parametrize(
    ("price", "expected"),
    [("2", "$2.00"), ("2.4500", "$2.45"), ("2.455", "$2.455"), ("-0.25", "−$0.25")],
)
def test_a_price_in_a_sentence_has_more_decimals_only_where_they_count(price, expected):
    assert words.unit_price(Decimal(price)) == expected
