"""The house's own unit of weight: in how many grams, and what it is called.

Prices by weight are kept per unit of weight of the house, so whoever multiplies grams with one
asks here. A sentence about "a pound" is written with the name left open, and `by_unit` puts it in.
"""

from __future__ import annotations

import re
from decimal import Decimal

from django.utils.functional import Promise, lazy
from django.utils.translation import gettext as _

from inventory.shared import conventions


def unit_grams() -> Decimal:
    """Return the grams of the unit of weight that the house prices in, exactly."""
    return conventions.current().unit_grams


def in_units(grams: int | Decimal) -> Decimal:
    """Return grams in the unit of weight of the house: 453.59237 g are 1 lb or 0.45359237 kg."""
    return Decimal(grams) / unit_grams()


def unit_word() -> str:
    """Return the unit as it stands beside a figure: "lb" or "kg"."""
    return conventions.current().weight_word


def unit_name() -> str:
    """Return the unit as a word of a sentence: "pound" or "kilogram"."""
    return _("kilogram") if conventions.current().is_metric else _("pound")


def units_name() -> str:
    """Return more than one of the unit as a word of a sentence: "pounds" or "kilograms"."""
    return _("kilograms") if conventions.current().is_metric else _("pounds")


def in_words(text: str | Promise) -> str:
    """Put the unit into a sentence: "Price per {unit}", "{units}" for many, "{lb}" for short."""
    found = {"unit": unit_name(), "units": units_name(), "lb": unit_word()}
    # In braces, since Django looks a sentence of a template up with each percent sign doubled.
    return re.sub(r"{(unit|units|lb)}", lambda name: found[name[1]], str(text))


# For labels and help texts that are written once and read by many.
by_unit = lazy(in_words, str)
