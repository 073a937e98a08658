"""What is asked about prices, people and costs."""

from typing import Any

from django import forms
from django.contrib.auth import password_validation
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts.models import User
from apiary_sales.web.first_hour.forms.rows import RowForm
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import MoneyField, NumberField
from inventory.stock.models import ProductionSettings


class PricesRow(RowForm):
    """What a piece of one product costs on each price list."""

    stand = MoneyField(label=_("At the stand"), required=False)
    shop = MoneyField(label=_("For shops"), required=False)
    distributor = MoneyField(label=_("For distributors"), required=False)


class DrumPriceForm(HouseForm):
    """What honey in drums costs, whatever its colour."""

    fields_of_parameters = {"price_per_pound": "per_weight"}

    per_weight = NumberField(
        label=_("Honey in drums"), required=False, min_value=0, max_digits=9, decimal_places=4
    )


class PersonRow(RowForm):
    """One more person who signs in."""

    asks = ("name", "username", "password")

    name = forms.CharField(label=_("Full name"), max_length=150)
    username = forms.CharField(
        label=_("Name to sign in with"),
        max_length=150,
        validators=[User.username_validator],
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none"}),
    )
    role = forms.ChoiceField(label=_("What they do"), choices=User.Role.choices)
    password = forms.CharField(
        label=_("Password"),
        strip=False,
        # Shown as typed: the owner tells it to the person, who chooses another at the next sign-in.
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none"}),
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("password"):
            person = User(username=data.get("username", ""), first_name=data.get("name", ""))
            try:
                password_validation.validate_password(data["password"], person)
            except forms.ValidationError as error:
                self.add_error("password", error)
        return data


class CostsForm(HouseForm):
    """What an hour costs, and how the cost of what is sold is worked out."""

    fields_of_parameters = {"labour_cents_per_hour": "labour"}

    labour = MoneyField(
        label=_("An hour of work costs"),
        help_text=_("What you pay, or what your own hour is worth. 0 if you leave it out."),
    )
    cost_method = forms.ChoiceField(
        label=_("Cost of what is sold"),
        choices=ProductionSettings.CostMethod,
        widget=forms.RadioSelect,
        help_text=_("It is chosen once: after the first sale it stays."),
    )


class MinutesRow(RowForm):
    """The work on one piece of a product."""

    minutes = NumberField(
        label=_("Minutes for one piece"), required=False, max_digits=5, decimal_places=2
    )
