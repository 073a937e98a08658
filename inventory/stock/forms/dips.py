"""Forms of dip readings: what the stick said, and why the books should follow it."""

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import ActDayField, LengthField, TemperatureField
from inventory.stock.forms.fields import note_field, usual_temperature


class DipForm(ActForm):
    """A dip stick's depth and the honey's temperature."""

    fields_of_parameters = {"depth_mm": "depth"}

    depth = LengthField(
        label=_("Depth of the honey"),
        help_text=_("Straight up from the lowest point inside to the surface."),
    )
    celsius = TemperatureField(label=_("Temperature of the honey"))
    read_on = ActDayField()
    note = note_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["celsius"].initial = usual_temperature()


class AcceptDipForm(ActForm):
    """Why the books should follow the dip."""

    reason = forms.CharField(
        label=_("Reason"),
        max_length=200,
        help_text=_("For example: foam skimmed off, or scale read wrong on Tuesday."),
        error_messages={"required": _("Say why the books should be changed to match the dip.")},
    )
