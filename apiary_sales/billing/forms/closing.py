"""Closing the books, opening them again, and reading them as of a day."""

from datetime import timedelta

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.queries.as_of import AsOf
from inventory.shared import days
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import DayField


def _end_of_last_month():
    return timezone.localdate().replace(day=1) - timedelta(days=1)


class CloseForm(ActForm):
    until = DayField(label=_("Close all days up to"), initial=_end_of_last_month)
    note = forms.CharField(
        label=_("Note"),
        max_length=300,
        required=False,
        help_text=_("For example: sales tax of October is filed."),
    )


class OpenAgainForm(ActForm):
    until = DayField(
        label=_("Last day that stays closed"),
        required=False,
        help_text=_("Leave empty to open all days."),
    )
    reason = forms.CharField(label=_("Why are the books opened again?"), max_length=300)


class OwedOnForm(HouseForm):
    """A day, and the day at whose end the entries are known."""

    day = DayField(label=_("Owed on"), required=False)
    known_on = DayField(
        label=_("As it was known at the end of"),
        required=False,
        help_text=_("Leave empty for what is known now."),
    )

    def as_of(self) -> AsOf:
        cleaned = self.cleaned_data if self.is_valid() else {}
        known_on = cleaned.get("known_on")
        return AsOf(
            cleaned.get("day") or timezone.localdate(), days.end(known_on) if known_on else None
        )
