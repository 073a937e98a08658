"""The form of the warming log."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, NumberField, TemperatureField
from inventory.stock.forms.fields import VesselField, note_field


class WarmingForm(ActForm):
    """Which vessel was warmed, when, for how long and how warm it got."""

    fields_of_parameters = {"highest_celsius": "highest"}

    place = VesselField(label=_("Vessel"))
    started_on = DayField(label=_("From"))
    ended_on = DayField(label=pgettext_lazy("day", "To"))
    hours = NumberField(
        label=_("Hours"),
        max_digits=5,
        decimal_places=1,
        required=False,
        help_text=_("How long the heat was on. Leave it empty if nobody noted it."),
    )
    highest = TemperatureField(
        label=_("Highest temperature of the honey"),
        required=False,
        help_text=_(
            "Measured in the honey at its warmest place, near the heater. Leave it empty if "
            "nobody measured it."
        ),
    )
    above_limit_confirmed = forms.BooleanField(
        label=_("Yes, the honey got warmer than the house's limit"), required=False
    )
    warmed_by = forms.CharField(label=_("Warmed by"), max_length=80, required=False)
    note = note_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("started_on", "ended_on"):
            self.fields[name].initial = timezone.localdate()

    @property
    def asks_for_confirmation(self) -> bool:
        """Whether the box of the confirmation is shown: once it was asked for, or ticked."""
        field = self["above_limit_confirmed"]
        return bool(field.errors or field.value())
