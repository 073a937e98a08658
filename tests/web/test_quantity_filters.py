"""Quantities as they are shown. Expected values are worked out by hand from exact factors.

1 lb = 453.59237 g and 1 US gallon = 3.785411784 L: NIST Handbook 44, appendix C (read).
"""

from dataclasses import replace
from decimal import Decimal
from types import SimpleNamespace

import pytest
from django.template import Context, Template
from django.utils import translation

from inventory.shared import conventions
from inventory.shared.templatetags import quantities


def shown(number: str, unit: str) -> str:
    return f'<span class="quantity"><b>{number}</b> <small>{unit}</small></span>'


DASH = '<span class="nothing">–</span>'


@pytest.mark.parametrize(
    ("grams", "expected"),
    [
        (0, "0.0"),
        (454, "1.0"),  # 1.0009 lb
        (680, "1.5"),  # 1.4991 lb
        (45_314, "99.9"),  # 99.9 lb is 45,313.88 g
        (45_336, "99.9"),  # 99.949 lb
        (45_337, "100"),  # 99.951 lb: a hundred to the tenth, shown as from a hundred on
        (45_359, "100"),  # 99.999 lb
        (582_413, "1,284"),  # 1,284 lb is 582,412.60 g
        (582_185, "1,283"),  # 1,283.498 lb
        (582_187, "1,284"),  # 1,283.502 lb
        (-186_880, "−412"),  # 412 lb is 186,880.06 g
        (-227, "−0.5"),
        (-10, "0.0"),  # never "minus nothing"
    ],
)
def test_pounds_have_one_decimal_below_a_hundred_and_none_above(grams, expected):
    assert quantities.weight_of(grams) == shown(expected, "lb")


@pytest.mark.parametrize(
    ("decimals", "expected"), [(0, "656"), (1, "655.5"), (2, "655.50"), (3, "655.500")]
)
def test_rows_that_add_up_or_are_priced_have_the_decimals_their_page_asks_for(decimals, expected):
    # 655.5 lb are 297,329.8 g
    assert quantities.weight_of(297_330, decimals) == shown(expected, "lb")
    assert quantities.weight(297_330, 1).startswith(
        '<span class="quantity"><b>655.5</b> <small>lb</small> <small class="also">297.3 kg'
    )


def test_a_total_of_weights_is_the_sum_of_the_tenths_that_are_shown():
    # Each is 100.04 lb: shown as 100.0, so three of them come to 300.0 and not to 300.1.
    row = SimpleNamespace(grams=45_377, lot=SimpleNamespace(quantity_made=45_377))

    assert quantities.weight_of_all([row] * 3) == shown("300.0", "lb")
    assert quantities.weight_of_all([row] * 3, "lot.quantity_made") == shown("300.0", "lb")
    assert quantities.weight_of_all([]) == shown("0.0", "lb")


def test_what_is_left_of_a_weight_is_worked_out_in_the_tenths_that_are_shown():
    # 102.46 lb are shown as 102.5 and 3.04 lb as 3.0; 99.42 lb beside them would not add up.
    assert quantities.weight_of_rest(46_475, 1_379) == shown("99.5", "lb")
    # 46.475 kg are shown as 46.5, 1.379 kg as 1.4.
    assert "99.5" in quantities.weight_left(46_475, 1_379)
    assert "45.1 kg" in quantities.weight_left(46_475, 1_379)
    # A refused plan: 100.0 lb there, 150.0 lb needed.
    assert quantities.weight_of_rest(45_359, 68_039) == shown("−50.0", "lb")


def test_a_difference_is_that_of_the_tenths_that_are_shown():
    # 102.46 lb and 99.42 lb, shown as 102.5 and 99.4.
    assert quantities.weight_between(46_475, 45_096) == shown("−3.1", "lb")
    assert quantities.weight_between(45_096, 46_475) == shown("+3.1", "lb")
    assert quantities.weight_between(45_096, 45_096) == shown("0.0", "lb")


@pytest.mark.parametrize(
    ("grams", "expected"),
    [(1_284, "1.3"), (99_949, "99.9"), (99_950, "100"), (582_414, "582"), (1_234_567, "1,235")],
)
def test_kilograms_have_one_decimal_below_a_hundred_and_none_above(grams, expected):
    assert quantities.kilograms(grams) == shown(expected, "kg")


@pytest.mark.parametrize(
    ("litres", "expected"),
    [
        (Decimal("18.92705892"), "5.0"),
        (Decimal("378.5411784"), "100"),
        (Decimal(1234), "326"),  # 325.99 gal
        (Decimal("3.6"), "1.0"),  # 0.951 gal
    ],
)
def test_litres_are_shown_as_gallons(litres, expected):
    assert quantities.volume_of(litres) == shown(expected, "gal")


def test_litres_are_shown_as_litres():
    assert quantities.litres(Decimal("18.927")) == shown("18.9", "L")


def test_a_weight_shows_kilograms_small_beside_pounds():
    assert quantities.weight(582_413) == (
        '<span class="quantity"><b>1,284</b> <small>lb</small> '
        '<small class="also">582 kg</small></span>'
    )


@pytest.mark.parametrize(
    ("cents", "expected"),
    [(0, "$0.00"), (5, "$0.05"), (123_456, "$1,234.56"), (-50, "−$0.50"), (-123_456, "−$1,234.56")],
)
def test_money_is_shown_in_the_houses_currency(cents, expected):
    assert quantities.money(cents) == f'<span class="money">{expected}</span>'


@pytest.mark.parametrize(
    ("currency", "expected"),
    [("EUR", "€1,234.56"), ("GBP", "£1,234.56"), ("CHF", "1,234.56 <small>CHF</small>")],
)
def test_another_currency_has_its_own_sign_or_its_code(currency, expected):
    conventions.use(replace(conventions.current(), currency=currency))

    assert quantities.money(123_456) == f'<span class="money">{expected}</span>'


@pytest.mark.parametrize(
    ("price", "expected"),
    [
        ("2.4500", "$2.45"),
        ("2.4550", "$2.455"),
        ("2.4575", "$2.4575"),
        ("2.45755", "$2.4576"),
        ("3", "$3.00"),
        ("10.0000", "$10.00"),
        ("0", "$0.00"),
        ("1284.5", "$1,284.50"),
        ("-0.25", "−$0.25"),
    ],
)
def test_a_unit_price_has_two_decimals_and_more_only_where_they_count(price, expected):
    assert quantities.unit_price(Decimal(price)) == f'<span class="money">{expected}</span>'


def test_percent_takes_a_number_that_is_a_percentage_already():
    assert quantities.percent(Decimal("17.4")) == shown("17.4", "%")
    assert quantities.percent(Decimal("17.25"), 2) == shown("17.25", "%")


@pytest.mark.parametrize(("value", "expected"), [(3, "+3"), (-3, "−3"), (0, "0"), (1500, "+1,500")])
def test_a_change_shows_its_sign(value, expected):
    assert quantities.signed(value) == expected


@pytest.mark.parametrize(
    ("count", "expected"), [(0, ("0", "pieces")), (1, ("1", "piece")), (1240, ("1,240", "pieces"))]
)
def test_pieces_are_counted(count, expected):
    assert quantities.pieces(count) == shown(*expected)


@pytest.mark.parametrize(
    "name",
    [
        "weight_of",
        "kilograms",
        "weight",
        "volume_of",
        "litres",
        "money",
        "unit_price",
        "percent",
        "signed",
        "pieces",
    ],
)
@pytest.mark.parametrize("nothing", [None, "", "abc", Decimal("NaN")])
def test_nothing_is_shown_as_a_dash(name, nothing):
    assert getattr(quantities, name)(nothing) == DASH


@pytest.mark.parametrize(
    ("fraction", "expected"),
    [(0, "0.00"), (Decimal("0.62"), "74.40"), (1, "120.00"), (1.5, "120.00"), (-1, "0.00")],
)
def test_a_drawing_is_filled_within_its_shell(fraction, expected):
    assert quantities.part_of(fraction, 120) == expected


def test_a_drawing_is_written_with_a_point_in_every_language():
    with translation.override("es"):
        assert quantities.part_of(Decimal("0.62"), 120) == "74.40"


@pytest.mark.parametrize(
    "written", ["Extra Light Amber", "extra_light_amber", "extra-light-amber", "EXTRA LIGHT AMBER"]
)
def test_a_colour_class_has_one_style_and_one_mark_however_written(written):
    assert quantities.honey_colour(written) == "extra-light-amber"
    assert quantities.honey_mark(written) == "ELA"


def test_no_colour_has_no_mark():
    assert (quantities.honey_colour(None), quantities.honey_mark(None)) == ("", "")


def test_what_a_filter_writes_is_not_escaped_again_but_what_it_is_given_is():
    template = Template("{{ grams|weight_of }}{{ bad|weight_of }}{{ bad|pieces }}")

    text = template.render(Context({"grams": 454, "bad": "<script>"}))

    assert text == shown("1.0", "lb") + DASH + DASH
