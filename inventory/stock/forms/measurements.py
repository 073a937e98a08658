"""Forms of what was measured: a figure of a lot, and the honey in a vessel measured again."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, NumberField, TemperatureField
from inventory.shared.models import Attachment
from inventory.stock.forms.fields import note_field
from inventory.stock.models import Lot, Measurement
from inventory.stock.services import lots

# A laboratory's method comes with the tick that a laboratory measured.
HOUSE_METHODS = [
    choice for choice in Measurement.Method.choices if choice[0] != Measurement.Method.LABORATORY
]


# Left empty, the method is what the figures tell: a refractometer for an index, else none.
METHODS = [("", _("not recorded")), *HOUSE_METHODS[:-1]]


def index_read(data: dict[str, Any]) -> Decimal | None:
    """Return the refractive index that was typed, and put one that was read as °Brix into `data`.

    Raises `BadValue` for a °Brix that no honey shows.
    """
    if data.get("refractive_index") is None and data.get("brix") is not None:
        data["refractive_index"] = lots.index_from_brix(data["brix"])
    index: Decimal | None = data.get("refractive_index")
    return index


def _what_with_unit() -> list[tuple[str, str]]:
    return [
        (what.value, f"{what.label}, {scale.unit}" if scale.unit else str(what.label))
        for what, scale in Measurement.SCALES.items()
    ]


class FigureField(NumberField):
    """A figure as a laboratory writes it, also "<5"; comes out as the number alone."""

    input_mode = "text"

    def to_python(self, value: Any) -> Any:
        return super().to_python(value.strip().lstrip("<") if isinstance(value, str) else value)


class MeasurementForm(ActForm):
    """What was measured of a lot, how, when and by whom."""

    what = forms.ChoiceField(label=_("What was measured"), choices=_what_with_unit)
    value = FigureField(
        label=_("Figure"),
        max_digits=7,
        decimal_places=3,
        help_text=_("Below what could be detected, type for example <5, or tick the box."),
    )
    is_below = forms.BooleanField(
        label=_("Less than this figure: the limit of detection"), required=False
    )
    measured_on = DayField(label=_("Measured on"))
    measured_by = forms.CharField(label=_("Measured by"), max_length=80, required=False)
    method = forms.ChoiceField(
        label=_("How"),
        choices=HOUSE_METHODS,
        initial=Measurement.Method.NOT_RECORDED,
    )
    instrument = forms.CharField(
        label=_("Instrument"),
        max_length=80,
        required=False,
        help_text=_("For example: hand refractometer, checked with water this morning."),
    )
    is_laboratory = forms.BooleanField(label=_("A laboratory measured it"), required=False)
    laboratory = forms.CharField(label=_("Laboratory"), max_length=120, required=False)
    report = forms.ModelChoiceField(
        label=_("Its report"),
        queryset=Attachment.objects.none(),
        required=False,
        empty_label=_("Choose a file of this lot"),
    )
    note = note_field()

    def __init__(self, *args: Any, lot: Lot, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["measured_on"].initial = timezone.localdate()
        report = self.fields["report"]
        assert isinstance(report, forms.ModelChoiceField)
        report.queryset = Attachment.objects.of(lot).in_use()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if str(self["value"].value() or "").strip().startswith("<"):
            data["is_below"] = True
        return data


class MeasureAgainForm(ActForm):
    """The honey in a vessel as it is after drying, warming or settling."""

    fields_of_parameters = {"moisture_percent": "moisture"}

    measured_on = DayField(label=_("Measured on"))
    moisture = NumberField(
        label=_("Moisture, percent"), max_digits=5, decimal_places=2, required=False
    )
    refractive_index = NumberField(
        label=_("Refractometer index"),
        max_digits=6,
        decimal_places=5,
        required=False,
        help_text=_("Instead of percent, for example 1.4930."),
    )
    brix = NumberField(
        label=_("Reading in °Brix"),
        max_digits=4,
        decimal_places=2,
        required=False,
        help_text=_("Instead of percent, for example 81.5."),
    )
    refractometer_celsius = TemperatureField(
        label=_("Temperature of that reading"),
        required=False,
        help_text=_("Leave empty if the refractometer corrects for it by itself."),
    )
    moisture_method = forms.ChoiceField(
        label=_("How the moisture was measured"), required=False, choices=METHODS
    )
    colour_mm = NumberField(
        label=_("Colour, mm Pfund"), max_digits=5, decimal_places=1, required=False
    )
    colour_method = forms.ChoiceField(
        label=_("How the colour was measured"), required=False, choices=METHODS
    )
    celsius = TemperatureField(label=_("Temperature of the honey"), required=False)
    instrument = forms.CharField(
        label=_("Instrument"),
        max_length=80,
        required=False,
        help_text=_("For example: hand refractometer, checked with water this morning."),
    )
    measured_by = forms.CharField(label=_("Measured by"), max_length=80, required=False)
    note = forms.CharField(
        label=_("Note"),
        max_length=120,
        required=False,
        help_text=_("For example: after two days of drying."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["measured_on"].initial = timezone.localdate()
        for name in ("moisture", "refractive_index", "brix", "colour_mm", "celsius"):
            # What the label's template asks for; Django's class does not declare it.
            self.fields[name].is_one_of_several = True  # type: ignore[attr-defined]


class NameBlendForm(ActForm):
    """What a blend is called."""

    floral_source = forms.CharField(
        label=_("Name of the blend"),
        max_length=120,
        help_text=_("For example: clover and basswood, or house blend."),
        error_messages={"required": _("Enter the name of the blend.")},
    )
