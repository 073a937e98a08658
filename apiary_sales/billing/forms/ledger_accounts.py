"""The number and name of an account."""

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import LedgerAccount
from inventory.shared.forms.acts import HouseForm


class AccountForm(HouseForm):
    number = forms.CharField(
        label=_("Number"), max_length=LedgerAccount._meta.get_field("number").max_length
    )
    name = forms.CharField(
        label=_("Name"), max_length=LedgerAccount._meta.get_field("name").max_length
    )
