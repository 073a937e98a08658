"""The form that says whose private label a brand is."""

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from inventory.shared.forms.acts import HouseForm


class PrivateLabelForm(HouseForm):
    """The one customer of a brand, or everybody."""

    customer = forms.ModelChoiceField(
        label=_("Sold only to"),
        queryset=Customer.objects.filter(is_active=True),
        required=False,
        empty_label=_("everybody: it is no private label"),
    )
