"""The form of a program that is told."""

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.webhooks.models import ADDRESS_MAX, KINDS
from inventory.shared.forms.acts import HouseForm


class EndpointForm(HouseForm):
    name = forms.CharField(
        label=_("What the program is called"), max_length=80, help_text=_("For example: web shop.")
    )
    url = forms.CharField(
        label=_("Its address"),
        max_length=ADDRESS_MAX,
        widget=forms.TextInput(attrs={"inputmode": "url", "autocomplete": "off"}),
        help_text=_("From whoever runs the program. It begins with https://"),
    )
    is_in_own_network = forms.BooleanField(
        label=_("It is in our own network, or on this machine"),
        required=False,
        help_text=_("Without this, nothing is sent to addresses inside the house."),
    )
    kinds = forms.MultipleChoiceField(
        label=_("What it is told of"),
        choices=KINDS,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose what the program is told of.")},
    )
