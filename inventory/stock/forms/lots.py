"""What the list of lots is narrowed to."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import HouseForm
from inventory.stock.queries import honey


def _seasons() -> list[tuple[str, Any]]:
    return [("", _("all")), *((str(year), str(year)) for year in honey.seasons())]


class LotFilterForm(HouseForm):
    """What the list of lots is narrowed to."""

    words = forms.CharField(
        label=_("Code, flower, yard or supplier"), required=False, widget=forms.TextInput
    )
    season = forms.TypedChoiceField(
        label=_("Season"), required=False, coerce=int, empty_value=None, choices=_seasons
    )
    in_hand = forms.BooleanField(label=_("Only what is in stock"), required=False)
