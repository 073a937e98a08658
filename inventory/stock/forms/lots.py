"""What the list of lots is narrowed to."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.countries import CountryField
from inventory.stock.queries import honey


def _seasons() -> list[tuple[str, Any]]:
    return [("", _("all")), *((str(year), str(year)) for year in honey.seasons())]


class LotOriginForm(ActForm):
    """Where honey that came in was harvested."""

    country = CountryField(
        label=_("Country of origin"),
        required=False,
        help_text=_(
            "Leave empty where it is not known. An extraction of your own without a country has "
            "that of the business details."
        ),
    )
    region = forms.CharField(label=_("Region of origin"), max_length=80, required=False)


class LotFilterForm(HouseForm):
    """What the list of lots is narrowed to."""

    words = forms.CharField(
        label=_("Code, flower, yard or supplier"), required=False, widget=forms.TextInput
    )
    season = forms.TypedChoiceField(
        label=_("Season"), required=False, coerce=int, empty_value=None, choices=_seasons
    )
    in_hand = forms.BooleanField(label=_("Only what is in stock"), required=False)
