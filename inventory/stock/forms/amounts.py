"""How much of something in a store: in pieces, or typed as a weight for goods by weight."""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.physics import units
from inventory.shared import conventions
from inventory.shared.forms.fields import (
    WHOLE_NUMBER_MAX,
    QuantityField,
    WeightField,
    decimal_sign,
)
from inventory.shared.typed import read_number, read_quantity
from inventory.stock.forms.fields import as_weight
from inventory.stock.models import Item

PIECES = "pieces"
_LETTER = re.compile(r"[^\W\d_]")


@dataclass(frozen=True)
class Amount:
    """What was typed: whole pieces, or grams."""

    number: int
    is_weight: bool

    def of(self, item: Item) -> int:
        """Return how much of `item` that is; raises ValidationError for the wrong kind of unit."""
        if self.number and self.is_weight != item.is_weighed:
            if item.is_weighed:
                said = gettext("%(item)s is kept by weight. Choose a unit of weight.")
            else:
                said = gettext("%(item)s is counted in pieces. Choose “pieces” as its unit.")
            raise ValidationError(said % {"item": item.name}, code="unit")
        return self.number


class AmountField(QuantityField):
    """Pieces or a weight, as the unit beside the number says; comes out as an `Amount`."""

    units = [(PIECES, _("pieces")), *WeightField.units]
    default_error_messages = {
        "required": _("Enter how many."),
        "not_a_number": _("Enter a whole number of pieces, or choose a unit of weight."),
        "too_long": _("That is far too much. Check the figure."),
    }

    def read(self, typed: str, unit: str) -> Amount:
        sign = decimal_sign()
        if unit != PIECES or _LETTER.search(typed):
            unit = conventions.current().weight_unit if unit == PIECES else unit
            quantity = read_quantity(typed, kind="weight", unit=unit, decimal_sign=sign)
            self.check(round(quantity.m_as(unit), 20))
            return Amount(units.round_grams(quantity.m_as("g")), is_weight=True)
        number = read_number(typed, decimal_sign=sign)
        if number % 1:
            raise ValidationError(self.error_messages["not_a_number"], code="invalid")
        if abs(number) > WHOLE_NUMBER_MAX:
            raise ValidationError(self.error_messages["too_long"], code="too_long")
        return Amount(int(number), is_weight=False)


def amount_of(form: forms.Form, name: str, item: Item | None) -> int | None:
    """Return how much of `item` was typed in a field of a cleaned form; add what is wrong to it."""
    amount: Any = form.cleaned_data.get(name)
    if amount is None or item is None:
        return None
    try:
        return amount.of(item)
    except ValidationError as error:
        form.add_error(name, error)
        return None


def as_amount(quantity: int, item: Item) -> tuple[Decimal | int, str]:
    """Return a quantity as a form shows it first: pieces, or a weight that is the same gram."""
    if not item.is_weighed:
        return quantity, PIECES
    return as_weight(quantity)
