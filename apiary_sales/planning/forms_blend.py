"""What a buyer wants of a blend, as a form kept in the address, and the form that saves it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.http import QueryDict
from django.utils.functional import Promise
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from apiary_sales.planning.rules.blend import (
    BlendBooks,
    BlendVessel,
    BlendWish,
    Use,
    cents_per_gram,
    limit_problems,
)
from inventory.physics.grading import COLOUR_CLASSES
from inventory.shared import words
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import NumberField, WeightField, WholeNumberField, as_typed
from inventory.shared.weights import by_unit
from inventory.stock.blends import BlendLimits, class_range
from inventory.stock.forms.fields import VesselField, note_field
from inventory.stock.models import Place

VESSELS_MAX = 40
OR_LIGHTER = "or-lighter:"
PARTS, WHOLE = "parts", "whole"
# A vessel and its grams as the page writes them, each short enough for the books.
SOURCE_WRITTEN = re.compile(r"(\d{1,18})-(\d{1,9})", re.ASCII)


def colour_choices() -> list[tuple[str, str | Promise]]:
    """Return the colour classes, each alone and with all that are lighter."""
    lighter = [
        (f"{OR_LIGHTER}{name}", format_lazy(_("{colour} or lighter"), colour=words.COLOURS[name]))
        for name in COLOUR_CLASSES[1:-1]
    ]
    return [
        ("", _("any, or as entered below")),
        *lighter,
        *((name, words.COLOURS[name]) for name in COLOUR_CLASSES),
    ]


@dataclass(frozen=True)
class BlendVesselFields:
    """One vessel, and the fields of its row."""

    vessel: BlendVessel
    use: BoundField
    least: BoundField
    value: BoundField
    is_above_moisture_limit: bool


class BlendWishForm(HouseForm):
    """The blend that is wanted; `wish()` makes of the cleaned data what it is worked out from."""

    fields_of_parameters = {
        "grams_max": "weight_max",
        "colour_mm_max": "colour_max",
        "moisture_percent_max": "moisture_max",
    }

    weight = WeightField(label=_("Weight wanted"))
    weight_max = WeightField(
        label=_("Weight at most"),
        required=False,
        help_text=_("Leave empty for just the weight wanted; with whole drums, for any more."),
    )
    colour_class = forms.ChoiceField(
        label=_("Colour class"), choices=colour_choices, required=False
    )
    colour_min = NumberField(
        label=_("Colour at least, mm Pfund"),
        required=False,
        min_value=0,
        max_value=150,
        decimal_places=1,
    )
    colour_max = NumberField(
        label=_("Colour at most, mm Pfund"),
        required=False,
        min_value=0,
        max_value=150,
        decimal_places=1,
    )
    moisture_min = NumberField(
        label=_("Moisture at least, %"),
        required=False,
        min_value=10,
        max_value=30,
        decimal_places=2,
    )
    moisture_max = NumberField(
        label=_("Moisture at most, %"),
        required=False,
        min_value=10,
        max_value=30,
        decimal_places=2,
    )
    target = VesselField(
        label=_("Blend into"),
        required=False,
        empty_label=_("not decided yet"),
    )
    draws = forms.ChoiceField(
        label=_("How drums and pails are used"),
        choices=[(PARTS, _("any part of them")), (WHOLE, _("whole or not at all"))],
    )
    vessels_max = WholeNumberField(
        label=_("Vessels to pour from, at most"),
        required=False,
        min_value=1,
        max_value=VESSELS_MAX,
    )
    least_each = WeightField(
        label=_("Least that is worth drawing from a vessel"),
        required=False,
    )

    def __init__(self, data: Mapping[str, object] | None, *, books: BlendBooks) -> None:
        super().__init__(data)
        self.books = books
        self.fields["moisture_max"].initial = books.moisture_limit_percent.normalize()
        for vessel in books.vessels:
            name, key = vessel.place.name, vessel.key
            use = forms.ChoiceField(choices=Use.choices, required=False, initial=Use.MAY)
            self._add(f"use-{key}", _("Use"), name, use)
            self._add(f"least-{key}", _("At least"), name, WeightField(required=False))
            value = NumberField(required=False, min_value=0, max_value=1000, decimal_places=4)
            self._add(f"value-{key}", by_unit(_("Other value per {unit}")), name, value)

    def _add(self, name: str, label: str | Promise, of: str, field: forms.Field) -> None:
        """Add a field of a table: its label is in the column's head, and told with its row."""
        field.label = format_lazy("{}: {}", of, label)
        widget = field.widget.widgets[0] if isinstance(field, WeightField) else field.widget
        widget.attrs["aria-label"] = field.label
        self.fields[name] = field

    @property
    def vessel_rows(self) -> list[BlendVesselFields]:
        return [
            BlendVesselFields(
                vessel,
                self[f"use-{vessel.key}"],
                self[f"least-{vessel.key}"],
                self[f"value-{vessel.key}"],
                vessel.lot.honey_moisture > self.books.moisture_limit_percent,
            )
            for vessel in self.books.vessels
        ]

    def says_more(self) -> bool:
        """Tell whether a limit is typed beyond those that are always shown."""
        names = ("colour_min", "colour_max", "moisture_min", "weight_max", "vessels_max")
        return self.data.get("draws") == WHOLE or any(
            self.data.get(name) for name in (*names, "least_each")
        )

    def says_of_vessels(self) -> bool:
        """Tell whether anything is said of single vessels, or is wrong with what is said."""
        return any(
            self.data.get(f"{name}-{vessel.key}") not in (None, "", Use.MAY)
            for vessel in self.books.vessels
            for name in ("use", "least", "value")
        )

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        typed = [name for name in ("colour_min", "colour_max") if data.get(name) is not None]
        if data.get("colour_class") and typed:
            self.add_error(typed[0], _("Choose a colour class or enter millimetres, not both."))
        if not data.get("weight", 1):
            self.add_error("weight", _("Enter a weight of more than zero."))
        for vessel in self.books.vessels:
            least = data.get(f"least-{vessel.key}")
            if least and least > vessel.free_grams:
                _asked, free = words.weights_apart(least, vessel.free_grams)
                self.add_error(
                    f"least-{vessel.key}",
                    _("%(place)s has %(free)s free. Enter no more than that.")
                    % {"place": vessel.place.name, "free": free},
                )
        if not self.errors:
            for parameter, sentence in limit_problems(self.limits()):
                self.add_error(self.field_of(parameter), sentence)
        return data

    def limits(self) -> BlendLimits:
        data = self.cleaned_data
        low, high = colour_range(data["colour_class"])
        grams_max = data["weight_max"]
        if grams_max is None and data["draws"] == PARTS:
            grams_max = data["weight"]
        return BlendLimits(
            grams_min=data["weight"],
            grams_max=grams_max,
            colour_mm_min=data["colour_min"] if low is None else low,
            colour_mm_max=data["colour_max"] if high is None else high,
            moisture_percent_min=data["moisture_min"],
            moisture_percent_max=data["moisture_max"],
        )

    def wish(self) -> BlendWish:
        """Return what a valid form asks for."""
        data = self.cleaned_data
        keys = [vessel.key for vessel in self.books.vessels]
        return BlendWish(
            limits=self.limits(),
            target=data["target"],
            drums_whole=data["draws"] == WHOLE,
            vessels_max=data["vessels_max"],
            least_each_grams=data["least_each"] or 1,
            uses={key: Use(data[f"use-{key}"] or Use.MAY) for key in keys},
            least={key: least for key in keys if (least := data[f"least-{key}"])},
            values={
                key: cents_per_gram(value)
                for key in keys
                if (value := data[f"value-{key}"]) is not None
            },
        )


class BlendSaveForm(ActForm):
    """For whom the blend is; the cleaned data has the weights that the page carried along."""

    buyer = forms.CharField(label=_("For whom"), max_length=120, required=False)
    note = note_field()

    def clean(self) -> dict[str, Any]:
        super().clean()
        written = self.data.getlist("source") if isinstance(self.data, QueryDict) else []
        found = [SOURCE_WRITTEN.fullmatch(each) for each in written]
        rows = [tuple(map(int, each.groups())) for each in found if each]
        places = Place.objects.in_bulk([place for place, _grams in rows])
        if not all(found) or not all(place in places for place, _grams in rows):
            self.add_error(
                None, _("The weights of the blend can't be read. Work out the blend again.")
            )
            rows = []
        return {**self.cleaned_data, "sources": [(places[pk], grams) for pk, grams in rows]}


def colour_range(choice: str) -> tuple[Decimal | None, Decimal | None]:
    """Return the limits in mm Pfund that a choice of colour means."""
    if not choice:
        return None, None
    low, high = class_range(choice.removeprefix(OR_LIGHTER))
    return (None if choice.startswith(OR_LIGHTER) else low), high


def typed(figure: Decimal) -> str:
    """Return a figure as a person would type it into these fields."""
    return str(as_typed(figure))
