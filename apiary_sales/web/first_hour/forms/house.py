"""What is asked about the house, its market and its tax."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.pricing.models import GoodsCategory
from apiary_sales.web.first_hour.forms.rows import RowForm
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.countries import CountryField
from inventory.shared.forms.fields import DayField, FileField, NumberField
from inventory.shared.models import House


class HouseNameForm(HouseForm):
    """What is printed at the head of papers, and when the books begin."""

    name = forms.CharField(label=_("Name of the house"), max_length=120)
    street = forms.CharField(label=_("Street"), max_length=160, required=False)
    postal_code = forms.CharField(label=_("Postal code"), max_length=20, required=False)
    city = forms.CharField(label=_("Town"), max_length=80, required=False)
    region = forms.CharField(label=_("State or region"), max_length=80, required=False)
    country = forms.CharField(
        label=_("Country"), max_length=60, required=False, help_text=_("As papers print it.")
    )
    country_code = CountryField(
        label=_("Country by its code"),
        required=False,
        help_text=_("For labels, and for invoices that a program reads."),
    )
    tax_number = forms.CharField(
        label=_("Your tax number"),
        max_length=40,
        required=False,
        help_text=_("Printed on invoices; in many countries they need it."),
    )
    phone = forms.CharField(label=_("Telephone"), max_length=40, required=False)
    email = forms.EmailField(label=_("E-mail"), required=False)
    logo = FileField(
        label=_("Logo"),
        required=False,
        help_text=_("A picture, PNG or JPEG, for all papers. You can add it later."),
    )
    begins_on = DayField(
        label=_("Day on which your books begin here"),
        initial=timezone.localdate,
        help_text=_(
            "What you have on that day is entered in the last steps. Today is best; in "
            "mid-season, choose a day on which you can count everything."
        ),
    )


class MarketForm(HouseForm):
    """How the house writes and measures; the market proposes all of it."""

    market = forms.ChoiceField(
        label=_("Where do you sell?"), choices=House.Market, widget=forms.RadioSelect
    )
    weight_unit = forms.ChoiceField(label=_("Honey is weighed in"), choices=House.WeightUnit)
    currency = forms.CharField(
        label=_("Currency"),
        max_length=3,
        validators=House._meta.get_field("currency").validators,
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "list": "currencies"}),
        help_text=_("Three letters, for example USD or EUR."),
    )
    language = forms.ChoiceField(
        label=_("Language of papers and labels"),
        choices=House.Language,
        help_text=_("Each person chooses the language of the pages for themselves."),
    )
    decimal_sign = forms.ChoiceField(label=_("Decimal sign"), choices=House.DecimalSign)
    paper = forms.ChoiceField(label=_("Paper"), choices=House.Paper)
    first_weekday = forms.TypedChoiceField(
        label=_("The week begins on"), choices=House.FirstWeekday, coerce=int
    )
    prices_include_tax = forms.BooleanField(
        label=_("Prices for customers include the tax"), required=False
    )

    def clean_currency(self) -> str:
        return str(self.cleaned_data["currency"]).upper()

    def __init__(self, data: Any = None, **kwargs: Any) -> None:
        if data is not None and data.get("currency"):
            data = data.copy()
            data["currency"] = data["currency"].strip().upper()
        super().__init__(data, **kwargs)


class TaxForm(HouseForm):
    """What the tax is called and whose it is."""

    fields_of_parameters = {"valid_from": "name"}

    name = forms.CharField(label=_("Name of the tax"), max_length=60)
    jurisdiction = forms.CharField(
        label=_("Whose tax it is"),
        max_length=60,
        required=False,
        help_text=_("A state, a county, a country: for the tax return."),
    )


class TaxedGoodsRow(RowForm):
    """How one kind of goods is taxed."""

    category = forms.ChoiceField(label=_("How it is taxed"), choices=GoodsCategory.Category)
    percent = NumberField(
        label=_("Percent, empty for none"),
        required=False,
        max_digits=7,
        decimal_places=4,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(100))],
    )
    reason = forms.CharField(label=_("Reason, where it is exempt"), max_length=120, required=False)
