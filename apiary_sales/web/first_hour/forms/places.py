"""What is asked about tanks, drums and shelves."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.web.first_hour import proposals
from apiary_sales.web.first_hour.forms import fields
from apiary_sales.web.first_hour.forms.rows import RowForm
from inventory.shared import conventions
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import WholeNumberField
from inventory.stock.forms.places import NO_SPACES
from inventory.stock.models import Place, TankShape
from inventory.stock.services.places import Shape


class TankRow(RowForm):
    """One tank: measured, or with the capacity that is known of it."""

    asks = ("shape", "diameter", "wall", "capacity")
    fields_of_parameters = {
        "capacity_litres": "capacity",
        "shape.form": "shape",
        "shape.diameter_mm": "diameter",
        "shape.length_mm": "wall",
        "shape.end": "shape",
        "shape.cone_mm": "cone",
        "code": "name",
    }

    name = forms.CharField(label=_("Name"), max_length=80)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields |= {
            "shape": forms.ChoiceField(
                label=_("Shape"), required=False, choices=proposals.tank_shapes
            ),
            "diameter": fields.length(label=_("Inside diameter"), required=False),
            "wall": fields.length(label=_("Straight wall, its height or length"), required=False),
            "cone": fields.length(label=_("Depth of the cone, if it has one"), required=False),
            "capacity": fields.volume(label=_("Capacity, if it is not measured"), required=False),
        }
        self.name_fields()

    @property
    def is_blank(self) -> bool:
        # A name other than the one that was proposed is a tank too.
        typed = self.data.get(self.add_prefix("name"), "").strip()
        return super().is_blank and typed in ("", self.initial.get("name", ""))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not data.get("shape") and data.get("diameter"):
            self.add_error("shape", _("Choose the shape of the tank."))
        return data

    def shape_typed(self) -> Shape | None:
        """Return the measurements, None for a tank that is not measured."""
        data = self.cleaned_data
        if not data["shape"]:
            return None
        form, end = data["shape"].split("-")
        return Shape(
            form=form,
            diameter_mm=data["diameter"],
            length_mm=data["wall"],
            end=end,
            cone_mm=data["cone"] if end == TankShape.End.CONE else None,
        )


class DrumsAlikeForm(HouseForm):
    """A number of drums that are alike."""

    fields_of_parameters = {"tare_grams": "tare", "capacity_litres": "capacity"}

    count = WholeNumberField(
        label=_("How many drums"), required=False, help_text=_("Leave it empty if you have none.")
    )
    first_code = forms.SlugField(
        label=_("Number of the first drum"),
        max_length=30,
        required=False,
        help_text=_("The others count on from it: D-001, D-002, D-003."),
        error_messages={"invalid": NO_SPACES},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # ISO 15750-1, from memory: a steel drum sold as 55 gallons holds at least 216.5 L.
        usual = (Decimal("216.5"), "L")
        if not conventions.current().is_metric:
            usual = (Decimal("57.2"), "gal")
        self.fields |= {
            "tare": fields.weight(
                label=_("Weight of an empty drum"),
                required=False,
                help_text=_("Painted on most drums. You can enter another one for each drum."),
            ),
            "capacity": fields.volume(
                label=_("Capacity to the brim"), required=False, initial=usual
            ),
        }

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("count") and not data.get("first_code") and "first_code" not in self.errors:
            self.add_error("first_code", _("Enter the number of the first drum, such as D-001."))
        return data


class StoreRow(RowForm):
    """One place for jars and parts."""

    asks = ("is_wanted",)
    fields_of_parameters = {"code": "name"}

    is_wanted = forms.BooleanField(label=_("Add"), required=False)
    kind = forms.ChoiceField(
        label=_("Kind"),
        choices=[(kind.value, kind.label) for kind in Place.STORES],
    )
    name = forms.CharField(label=_("Name"), max_length=80)
