"""Fields that begin with the units of the house."""

from typing import Any

from django import forms

from inventory.shared import conventions
from inventory.shared.forms.fields import (
    LengthField,
    QuantityField,
    TemperatureField,
    VolumeField,
    WeightField,
)


def with_first(field: type[QuantityField], unit: str) -> list[Any]:
    """Return the units of a field, this one first."""
    return sorted(field.units, key=lambda each: each[0] != unit)


def weight(**kwargs: Any) -> WeightField:
    return WeightField(units=with_first(WeightField, conventions.current().weight_unit), **kwargs)


def length(**kwargs: Any) -> LengthField:
    return LengthField(units=with_first(LengthField, conventions.current().length_unit), **kwargs)


def volume(**kwargs: Any) -> VolumeField:
    return VolumeField(units=with_first(VolumeField, conventions.current().volume_unit), **kwargs)


def temperature(**kwargs: Any) -> TemperatureField:
    unit = conventions.current().temperature_unit
    return TemperatureField(units=with_first(TemperatureField, unit), **kwargs)


def without_units(field: QuantityField, words: str) -> QuantityField:
    """Return a field of a table: its unit is in the head of the column, or typed after a figure."""
    field.widget.widgets[1] = forms.HiddenInput()
    field.label = f"{field.label}, {words}"
    return field
