"""The field that asks for a country."""

from typing import Any

from django import forms

from inventory.shared import countries


class CountryField(forms.ChoiceField):
    """A country, chosen by name; comes out as its two letters, empty while unknown."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=countries.choices, **kwargs)
