"""The form of a figure that was measured of a lot."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, NumberField
from inventory.shared.models import Attachment
from inventory.stock.forms.fields import note_field
from inventory.stock.models import Lot, Measurement

# A laboratory's method comes with the tick that a laboratory measured.
HOUSE_METHODS = [
    choice for choice in Measurement.Method.choices if choice[0] != Measurement.Method.LABORATORY
]


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
