"""Figures come in as people type them, and never as a guess."""

from decimal import Decimal

import pytest
from django import forms
from django.utils import translation

from inventory.forms.fields import FigureField, MoneyField, WeightField, WholeNumberField


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
        ("weight", "-3", "Enter a figure of nothing or more."),
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
