"""Costs that come late: the season that is asked for, and the act."""

from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.orders.forms.lines import total_shown_field
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import WholeNumberField


class SeasonAskedForm(HouseForm):
    """Which season's honey; all without one."""

    season = forms.TypedChoiceField(label=_("Season"), coerce=int, empty_value=None, required=False)

    def __init__(self, *args: Any, seasons: list[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = cast(forms.ChoiceField, self.fields["season"])
        field.choices = [("", _("all")), *((year, str(year)) for year in seasons)]


class LateCostForm(ActForm):
    """Cost what is shown; the season is in the address that was looked at.

    The page writes the cost and number of lines as they are now, also after a refusal.
    """

    season = WholeNumberField(
        required=False, min_value=1900, max_value=2200, widget=forms.HiddenInput
    )
    expected_total_cents = total_shown_field()
    expected_lines = WholeNumberField(required=False, widget=forms.HiddenInput)


class LateCostUndoForm(ActForm):
    """Take the costs off again."""
