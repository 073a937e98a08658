"""Forms that set prices and tax rates from a day on."""

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import TaxRate
from apiary_sales.pricing.rules.price_changes import Ending
from inventory.physics import grading
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import (
    DayField,
    MoneyField,
    MoneyInput,
    NumberField,
    WholeNumberField,
)
from inventory.shared.weights import by_unit

NEGATIVE = {"min_value": _("Enter a price of 0 or more.")}


class ValidFromField(DayField):
    """A day chosen in the browser's calendar; today unless told otherwise."""

    def __init__(self, **kwargs) -> None:
        kwargs.setdefault("label", _("From this day on"))
        kwargs.setdefault("initial", timezone.localdate)
        super().__init__(**kwargs)


class PerPoundField(NumberField):
    """A price a pound, to four places."""

    widget = MoneyInput

    def __init__(self, **kwargs) -> None:
        super().__init__(
            max_digits=9, decimal_places=4, min_value=0, error_messages=NEGATIVE, **kwargs
        )


class ProductPricesForm(HouseForm):
    """The prices of one product in every tier."""

    valid_from = ValidFromField()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for tier in Customer.Tier.values:
            self.fields[f"{tier}_piece_cents"] = MoneyField(
                label=_("One piece"), required=False, error_messages=NEGATIVE
            )
            self.fields[f"{tier}_case_cents"] = MoneyField(
                label=_("A case"), required=False, error_messages=NEGATIVE
            )

    def field_of(self, parameter: str | None) -> str | None:
        # A price is `wanted.<tier>.<name>` to the service.
        typed = re.fullmatch(r"wanted\.(\w+)\.(\w+)", parameter or "")
        return super().field_of(f"{typed[1]}_{typed[2]}" if typed else parameter)

    def tiers(self) -> list[tuple[Any, BoundField, BoundField]]:
        """Return each tier's label with its two fields."""
        return [
            (tier.label, self[f"{tier.value}_piece_cents"], self[f"{tier.value}_case_cents"])
            for tier in Customer.Tier
        ]


class BreakForm(HouseForm):
    """A lower price for so many pieces or more."""

    tier = forms.ChoiceField(label=_("Price list"), choices=Customer.Tier)
    min_pieces = WholeNumberField(
        label=_("From how many pieces"),
        min_value=2,
        max_value=1_000_000,
        error_messages={"min_value": _("A quantity price starts at 2 pieces or more.")},
    )
    piece_cents = MoneyField(
        label=_("Price of one"),
        required=False,
        help_text=_("Leave empty to end this quantity price on that day."),
        error_messages=NEGATIVE,
    )
    valid_from = ValidFromField()


class ChangeForm(HouseForm):
    """A change of whole price lists by percent."""

    tiers = forms.MultipleChoiceField(
        label=_("Price lists"),
        choices=Customer.Tier,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose at least one price list.")},
    )
    percent = NumberField(
        label=_("Up or down by, percent"),
        max_digits=5,
        decimal_places=2,
        help_text=_("5 raises prices by 5 %, -5 lowers them."),
    )
    ending = forms.ChoiceField(
        label=_("New prices end in"), choices=Ending, initial=Ending.FORTY_NINE
    )
    valid_from = ValidFromField()


class BulkPriceForm(HouseForm):
    """The price a pound in drums."""

    colour_class = forms.ChoiceField(
        label=_("Colour class"),
        required=False,
        choices=[("", _("any colour")), *((name, name) for name in grading.COLOUR_CLASSES)],
    )
    moisture_percent_max = NumberField(
        label=_("Moisture up to, percent"),
        max_digits=4,
        decimal_places=2,
        initial=Decimal("18.6"),
        help_text=_(
            "U.S. grades A and B allow up to 18.6 percent, grade C up to 20. Enter 30 for "
            "any moisture."
        ),
    )
    floral_source = forms.CharField(
        label=_("Floral source"),
        required=False,
        max_length=120,
        help_text=_("Leave empty if the price is valid for any source."),
        widget=forms.TextInput(attrs={"list": "sources", "autocomplete": "off"}),
    )
    price_per_pound = PerPoundField(
        label=by_unit(_("Price per {unit}")),
        required=False,
        help_text=_("Leave empty to end this price on that day."),
    )
    valid_from = ValidFromField()


class TaxRateForm(HouseForm):
    """A sales tax rate on one kind of goods."""

    name = forms.CharField(
        label=_("Name on the invoice"),
        max_length=60,
        widget=forms.TextInput(attrs={"list": "names", "autocomplete": "off"}),
        help_text=_("For example: State sales tax."),
    )
    jurisdiction = forms.CharField(
        label=_("Jurisdiction"),
        max_length=60,
        required=False,
        help_text=_("Whose tax it is, for the tax return: a state, a county, a country."),
    )
    goods = forms.ChoiceField(label=_("Tax on"), choices=TaxRate.Goods)
    percent = NumberField(
        label=_("Percent"),
        max_digits=7,
        decimal_places=4,
        min_value=0,
        max_value=100,
        help_text=_("Enter 0 to end the rate with this name."),
        error_messages={
            "min_value": _("Enter a tax rate from 0 to 100 percent."),
            "max_value": _("Enter a tax rate from 0 to 100 percent."),
        },
    )
    valid_from = ValidFromField()
