"""Figures come in as people type them, and never as a guess."""

from decimal import Decimal

import pytest
from django import forms
from django.utils import translation

from inventory.shared.forms.fields import (
    FigureField,
    LengthField,
    MoneyField,
    WeightField,
    WholeNumberField,
)


class Typed(forms.Form):
    weight = WeightField(required=False)
    money = MoneyField(required=False)
    pieces = WholeNumberField(required=False, min_value=1)
    moisture = FigureField(max_digits=4, decimal_places=2, required=False)


def read(name, typed):
    """Return what a field makes of a text, or the sentence it refuses it with."""
    form = Typed({name: typed, "weight_unit": "lb"})
    form.is_valid()
    return form.errors[name][0] if name in form.errors else form.cleaned_data[name]


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(
    ("name", "typed", "figure"),
    [
        # One pound is 453.59237 g: 1,250.5 lb are 567,217.26 g.
        ("weight", "1250.5", 567_217),
        ("weight", "1,250.5", 567_217),
        ("weight", " 1 250.5 ", 567_217),
        ("weight", "1\u202f250.5", 567_217),
        ("weight", "１２", 5_443),
        ("money", "1,250.50", 125_050),
        ("money", "1250.5", 125_050),
        ("money", "1,000,000", 100_000_000),
        ("pieces", "1,200", 1_200),
        ("pieces", "12 000", 12_000),
        ("pieces", "1,000,000,000", 1_000_000_000),
        ("moisture", "17.4", Decimal("17.4")),
    ],
)
def test_thousands_marks_and_spaces_are_read_as_meant(language, name, typed, figure):
    with translation.override(language):
        assert read(name, typed) == figure


@pytest.mark.parametrize("typed", ["12,5", "1250,50", "1,2,3", "1.250,50", ",5", "12,50", "1,25"])
@pytest.mark.parametrize("name", ["weight", "money", "pieces", "moisture"])
def test_a_comma_that_parts_no_thousands_is_asked_about_and_not_guessed(name, typed):
    assert read(name, typed) == (
        f"“{typed}” can be read in two ways. Write decimals as in 12.5, thousands as in 1,250."
    )


@pytest.mark.parametrize(
    ("name", "typed", "sentence"),
    [
        ("weight", "ten", "Enter a number."),
        ("money", "1,250.50x", "Enter a number."),
        ("money", "$5", "Enter a number."),
        ("weight", "nan", "Enter a number."),
        ("weight", "inf", "Enter a number."),
        ("weight", "1e9", "That is far too much. Check the figure."),
        ("weight", "-3", "Enter a figure of 0 or more."),
        ("money", "-0.01", "Enter 0 or more."),
        ("money", "99,999,999,999", "That is far too much. Check the figure."),
        ("pieces", "1.5", "Enter a whole number."),
        ("pieces", "0", "Enter 1 or more."),
        ("pieces", "1,000,000,001", "That is far too much. Check the figure."),
        ("pieces", "9" * 30, "That is far too much. Check the figure."),
        ("pieces", "-" + "9" * 30, "That is far too much. Check the figure."),
        ("moisture", "174", "That is far too much. Check the figure."),
    ],
)
def test_what_is_no_figure_is_refused_in_a_plain_sentence(name, typed, sentence):
    assert read(name, typed) == sentence


class OffTheStick(forms.Form):
    depth = LengthField()
    gross = WeightField(required=False)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(
    ("typed", "mm"),
    [
        # An inch is 25.4 mm exactly.
        ("12 3/8", 314),  # 12.375 in = 314.325 mm
        ("12-3/8", 314),
        (" 12 - 3 / 8 ", 314),
        ("12⅜", 314),
        ("3/4", 19),  # 19.05 mm
        ("¾", 19),
        ("5 1/16", 129),  # 5.0625 in = 128.5875 mm
        ("0 1/2", 13),  # 12.7 mm
        ("12.375", 314),
        ("1 250", 31_750),
    ],
)
def test_a_depth_is_typed_in_fractions_as_the_stick_shows_it(language, typed, mm):
    with translation.override(language):
        form = OffTheStick({"depth": typed, "depth_unit": "in"})

        assert form.is_valid()
        assert form.cleaned_data["depth"] == mm


def test_a_weight_is_typed_in_fractions_as_the_dial_shows_it():
    form = OffTheStick({"depth": "1", "gross": "690 1/2", "gross_unit": "lb"})

    assert form.is_valid()
    # 690.5 × 453.59237 = 313,205.53 g
    assert form.cleaned_data["gross"] == 313_206


@pytest.mark.parametrize("typed", ["12 1/3", "12 4/4", "12/1/2", "-12 1/2", "1/0", "12 1/2 3"])
def test_what_is_no_fraction_of_a_stick_is_no_figure(typed):
    form = OffTheStick({"depth": typed, "depth_unit": "in"})

    assert form.errors == {"depth": ["Enter a number."]}
