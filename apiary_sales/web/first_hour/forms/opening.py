"""What is asked about the opening day: honey, jars and parts."""

from decimal import Decimal
from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.web.first_hour.forms import fields
from apiary_sales.web.first_hour.forms.rows import RowForm
from inventory.bottling.forms_of_honey import stores
from inventory.bottling.models import Product
from inventory.shared import conventions
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import DayField, NumberField, WholeNumberField
from inventory.stock import lot_codes
from inventory.stock.forms.fields import usual_temperature
from inventory.stock.models import Place


def moisture(**kwargs: Any) -> NumberField:
    return NumberField(label=_("Moisture, %"), max_digits=4, decimal_places=2, **kwargs)


class UsualHoneyForm(HouseForm):
    """What holds for all vessels, unless a row says otherwise."""

    begins_on = DayField(label=_("Day on which your books begin here"))
    floral = forms.CharField(
        label=_("Floral source"),
        max_length=120,
        required=False,
        help_text=_("For example clover, or wildflower. A row can have another one."),
    )
    season = WholeNumberField(label=_("Season"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["moisture"] = moisture(
            required=False, help_text=_("Of honey with none in its row.")
        )
        self.fields["temperature"] = fields.temperature(
            label=_("Temperature of honey that was dipped"),
            required=False,
            initial=usual_temperature(),
        )


class VesselRow(RowForm):
    """What is in one vessel: its weight, or the depth of a dip where its shape is known."""

    asks = ("weight", "depth")
    fields_of_parameters = {
        "grams": "weight",
        "place": "weight",
        "depth_mm": "depth",
        "floral_source": "floral",
        "moisture_percent": "moisture",
        "extracted_on": "season",
        "celsius": "depth",
    }

    def __init__(self, *args: Any, with_depth: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        house = conventions.current()
        self.fields["weight"] = fields.without_units(
            fields.weight(label=_("Honey in it"), required=False), house.weight_word
        )
        if with_depth:
            self.fields["depth"] = fields.without_units(
                fields.length(label=_("Or depth"), required=False),
                str(_("cm") if house.is_metric else _("in")),
            )
        self.fields["moisture"] = moisture(required=False)
        self.fields["floral"] = forms.CharField(
            label=_("Floral source"), max_length=120, required=False
        )
        self.fields["season"] = WholeNumberField(label=_("Season"), required=False)
        self.fields["is_estimated"] = forms.BooleanField(label=_("Estimated"), required=False)
        self.name_fields()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("depth") and data.get("weight"):
            self.add_error("depth", _("Enter the weight or the depth, not both."))
        elif data.get("depth") and not hasattr(self.subject, "shape"):
            self.add_error("depth", _("The shape of this tank is not known. Enter the weight."))
        return data


class UsualJarsForm(HouseForm):
    """What holds for all jars that are there."""

    floral = forms.CharField(
        label=_("Floral source"), max_length=120, help_text=_("For example clover, or wildflower.")
    )
    season = WholeNumberField(label=_("Season of the honey in them"))
    pasted = forms.CharField(
        label=_("Paste a list"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_(
            "A line for each: code, size, pieces, place, day packed. Between them a tab (as a "
            "spreadsheet copies it), a semicolon or a comma."
        ),
    )


class JarsRow(RowForm):
    """Jars of one code and size at one place."""

    asks = ("lot_code", "pieces")
    fields_of_parameters = {"bottled_on": "packed_on", "floral_source": "lot_code"}

    lot_code = forms.CharField(
        label=_("Lot code on the jars"),
        max_length=lot_codes.CODE_LENGTH_MAX,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    product = forms.ModelChoiceField(label=_("Size"), queryset=Product.objects.none())
    pieces = WholeNumberField(label=_("Pieces"))
    place = forms.ModelChoiceField(
        label=_("Where"), queryset=Place.objects.none(), empty_label=None
    )
    packed_on = DayField(label=_("Packed on, if known"), required=False)

    def __init__(self, *args: Any, choices: dict[str, list[tuple[str, str]]], **kwargs: Any):
        super().__init__(*args, **kwargs)
        found = {"product": Product.objects.of_honey().in_use(), "place": stores()}
        for name, queryset in found.items():
            field = cast("forms.ModelChoiceField[Any]", self.fields[name])
            field.queryset = queryset
            # Read once for all rows.
            field.choices = choices[name]


class PartsPlaceForm(HouseForm):
    """Where the parts are kept."""

    place = forms.ModelChoiceField(label=_("Where they are"), queryset=stores(), empty_label=None)


class PartStockRow(RowForm):
    """How many of one part there are, and what one of them cost."""

    asks = ("pieces",)
    fields_of_parameters = {"cost_cents": "each", "received_on": "pieces"}

    pieces = WholeNumberField(label=_("In stock"))
    each = NumberField(
        label=_("Cost of one"),
        max_digits=10,
        decimal_places=4,
        min_value=Decimal(0),
        error_messages={"required": _("Enter what one of them cost, about if need be.")},
    )
