"""Forms of places: a tank with its shape, a shelf, drums in a row."""

from decimal import Decimal
from typing import cast

from django import forms
from django.utils.functional import lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.shared import conventions
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import LengthField, VolumeField, WeightField, WholeNumberField
from inventory.stock.forms.fields import PointsField, between_points
from inventory.stock.models import Place, TankShape
from inventory.stock.services.places import Shape

NO_SPACES = _("Use only letters, digits and hyphens, without spaces, for example tank-2.")


def usual_drum() -> tuple[Decimal, str]:
    """Return what a steel drum sold as 55 gallons holds at least: ISO 15750-1, from memory."""
    if conventions.current().is_metric:
        return Decimal("216.5"), "L"
    return Decimal("57.2"), "gal"


def _points_help() -> str:
    if between_points() == ";":
        return gettext("One line for each measured depth: the depth, a semicolon, the litres.")
    return gettext("One line for each measured depth: the depth, a comma, the litres.")


class PlaceFilterForm(HouseForm):
    """What the list of places is narrowed to; what is unreadable is left out."""

    words = forms.CharField(label=_("Number or name"), max_length=60, required=False)
    kind = forms.ChoiceField(
        label=_("Kind"),
        choices=[
            ("", _("all")),
            *((each.value, each.label) for each in (*Place.VESSELS, *Place.FOR_GOODS)),
        ],
        required=False,
    )
    state = forms.ChoiceField(
        label=_("What is there"),
        choices=[
            ("", _("all")),
            ("filled", _("with stock")),
            ("empty", _("empty")),
            ("off", _("out of use")),
        ],
        required=False,
    )

    def asked(self) -> dict[str, str]:
        """Return what was asked for and can be read."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}


class PlaceForm(HouseForm):
    """A place as it is known: its name, its tare and capacity, and a vessel's shape."""

    fields_of_parameters = {
        "tare_grams": "tare",
        "capacity_litres": "capacity",
        "shape": "form",
        "shape.form": "form",
        "shape.diameter_mm": "diameter",
        "shape.length_mm": "length",
        "shape.end": "end",
        "shape.cone_mm": "cone",
        "shape.points": "points",
    }

    name = forms.CharField(label=_("Name"), max_length=80)
    tare = WeightField(
        label=_("Tare"), required=False, help_text=_("The weight of the empty vessel.")
    )
    form = forms.ChoiceField(
        label=_("Shape"),
        required=False,
        choices=[("", _("not measured")), *TankShape.Form.choices],
        help_text=_("With a shape, the program works out the weight from a dip, and the capacity."),
    )
    diameter = LengthField(label=_("Inside diameter"), required=False)
    length = LengthField(
        label=_("Straight wall"),
        required=False,
        help_text=_("The height of an upright tank, or the length of a tank lying on its side."),
    )
    end = forms.ChoiceField(
        label=_("Bottom, or both ends of a tank lying on its side"),
        choices=TankShape.End.choices,
        required=False,
        initial=TankShape.End.FLAT,
    )
    cone = LengthField(
        label=_("Depth of the cone"), required=False, help_text=_("Only for a cone.")
    )
    points_unit = forms.ChoiceField(
        label=_("Depths are in"), choices=LengthField.units, required=False
    )
    points = PointsField(
        label=_("Calibration table"),
        required=False,
        help_text=lazy(_points_help, str)(),
    )
    capacity = VolumeField(
        label=_("Capacity"), required=False, help_text=_("Only if no shape is chosen.")
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    BY_SHAPE = ("diameter", "length", "end", "points_unit", "points")
    VESSEL_FIELDS = (
        "tare form diameter length end cone points_unit points capacity".split()  # noqa: SIM905
    )

    def __init__(self, *args, has_shape: bool = True, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if not has_shape:
            for name in self.VESSEL_FIELDS:
                del self.fields[name]
        else:
            for name in self.BY_SHAPE:
                # What the label's template asks for; Django's class does not declare it.
                self.fields[name].is_one_of_several = True  # type: ignore[attr-defined]
            unit = self["points_unit"].value()
            # An invalid unit is reported at its own field; the table is still read.
            cast(PointsField, self.fields["points"]).unit = (
                unit if unit in LengthField.MILLIMETRES else conventions.current().length_unit
            )

    def shape(self) -> Shape | None:
        """Return the shape that was typed, or None where "not measured" was chosen."""
        data = self.cleaned_data
        if not data.get("form"):
            return None
        return Shape(
            form=data["form"],
            diameter_mm=data["diameter"],
            length_mm=data["length"],
            end=data["end"] or TankShape.End.FLAT,
            cone_mm=data["cone"],
            points=tuple(data["points"]),
        )

    def figures(self) -> dict:
        """Return what the service asks for, in its words."""
        data = self.cleaned_data
        return {
            "name": data["name"],
            "tare_grams": data.get("tare"),
            "capacity_litres": data.get("capacity"),
            "shape": self.shape(),
            "note": data["note"],
        }


class NewPlaceForm(PlaceForm):
    """A new place of any kind."""

    KINDS = [
        (kind.value, kind.label) for kind in Place.Kind if kind in (*Place.VESSELS, *Place.STORES)
    ]

    kind = forms.ChoiceField(label=_("Kind"), choices=KINDS)
    code = forms.SlugField(
        label=_("Number or short name"),
        max_length=30,
        help_text=_("Letters, digits and hyphens, for example tank-2. It can't be changed later."),
        error_messages={"invalid": NO_SPACES},
    )
    field_order = ["kind", "code", "name"]


class DrumsForm(HouseForm):
    """Several drums in a row."""

    fields_of_parameters = {
        "first_code": "code",
        "tare_grams": "tare",
        "capacity_litres": "capacity",
    }

    code = forms.SlugField(
        label=_("First number"),
        max_length=30,
        help_text=_("For example D-001."),
        error_messages={"invalid": NO_SPACES},
    )
    count = WholeNumberField(label=_("How many"), initial=20)
    tare = WeightField(
        label=_("Tare"),
        required=False,
        help_text=_(
            "The weight of an empty drum. You can enter a different weight for each drum "
            "later, when it is filled."
        ),
    )
    capacity = VolumeField(
        label=_("Capacity to the brim"),
        required=False,
        initial=usual_drum,
        help_text=_(
            "A steel drum sold as 55 gallons (208 L) takes a little more to the brim: "
            "57.2 gallons (216.5 L)."
        ),
    )
