"""The form that makes a key for a program."""

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts import rules
from apiary_sales.accounts.models import ApiToken
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import WholeNumberField


class ProgramKeyForm(HouseForm):
    name = forms.CharField(
        label=_("What the program is called"),
        max_length=80,
        help_text=_("So that you know later which one this key is of."),
    )
    scopes = forms.ChoiceField(
        label=_("What it may do"),
        choices=ApiToken.Scopes.choices,
        initial=ApiToken.Scopes.READ,
        widget=forms.RadioSelect,
        help_text=_("Never more than you may do yourself."),
    )
    days = WholeNumberField(
        label=_("Days it works"),
        min_value=1,
        max_value=rules.TOKEN_DAYS_MAX,
        initial=90,
        help_text=_("At most 365. After that, make a new key."),
    )
