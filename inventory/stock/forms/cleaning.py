"""The forms of the cleaning schedule and its log."""

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import DayField, WholeNumberField
from inventory.stock.forms.fields import VesselField, note_field
from inventory.stock.models import CleaningTask


class CleaningTaskForm(HouseForm):
    """What is cleaned, and how often."""

    name = forms.CharField(
        label=_("What is cleaned"),
        max_length=80,
        help_text=_("For example: holding tank, bottling line, extracting room."),
    )
    kind = forms.ChoiceField(label=_("Kind"), choices=CleaningTask.Kind)
    place = VesselField(
        label=_("Vessel"),
        required=False,
        help_text=_("For a tank or other vessel: which one. The books then tell when it is empty."),
    )
    schedule = forms.ChoiceField(label=_("How often"), choices=CleaningTask.Schedule)
    every_days = WholeNumberField(
        label=_("Days from one cleaning to the next"),
        required=False,
        help_text=_("Only for the schedule of every so many days."),
    )
    used_for = forms.ChoiceField(
        label=_("Used for"),
        required=False,
        choices=[("", _("leave empty")), *CleaningTask.Use.choices],
        help_text=_(
            "For lines, machines and rooms that are cleaned before or after each use. A day of "
            "bottling or extracting in the books counts as a use."
        ),
    )
    cleaned_with = forms.CharField(
        label=_("Usually cleaned with"),
        max_length=120,
        required=False,
        help_text=_("For example: hot water and a brush, then the sanitizer of the house."),
    )
    is_active = forms.BooleanField(label=_("On the schedule"), required=False, initial=True)


class CleaningForm(ActForm):
    """That something was cleaned: when, by whom, with what."""

    cleaned_on = DayField(label=_("Day"))
    cleaned_by = forms.CharField(label=_("Cleaned by"), max_length=80)
    cleaned_with = forms.CharField(label=_("Cleaned with"), max_length=120)
    note = note_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["cleaned_on"].initial = timezone.localdate()
