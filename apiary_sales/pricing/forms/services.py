"""Forms of prices by weight and of services."""

from decimal import Decimal

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.forms.prices import NEGATIVE, PerPoundField, ValidFromField
from apiary_sales.pricing.models import Service, TaxRate
from inventory.bottling.models import Product, Variety
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import MoneyInput, NumberField
from inventory.shared.money import price_places
from inventory.shared.weights import by_unit


class UnitPriceField(NumberField):
    """A price of one unit, to four places."""

    widget = MoneyInput

    def __init__(self, **kwargs) -> None:
        super().__init__(
            required=False,
            max_digits=12,
            decimal_places=4,
            min_value=0,
            error_messages=NEGATIVE,
            **kwargs,
        )

    def prepare_value(self, value):
        if isinstance(value, Decimal):
            value = round(value, min(price_places(value), 4))
        return super().prepare_value(value)


class WeightPriceForm(HouseForm):
    """The price of a pound in one tier."""

    tier = forms.ChoiceField(label=_("Price list"), choices=Customer.Tier)
    what = forms.ChoiceField(label=_("What is sold by weight"))
    price_per_pound = PerPoundField(
        label=by_unit(_("Price per {unit}")),
        required=False,
        help_text=_("Leave empty to end this price on that day."),
    )
    valid_from = ValidFromField()

    fields_of_parameters = {"product": "what", "variety": "what"}

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._goods = {f"product-{row.pk}": row for row in Product.objects.sold_by_weight()}
        self._varieties = {
            f"variety-{row.pk}": row for row in Variety.objects.filter(is_active=True)
        }
        self.fields["what"].choices = [  # type: ignore[attr-defined]
            ("honey", _("any honey")),
            *((key, row.name) for key, row in self._varieties.items()),
            *((key, row.name) for key, row in self._goods.items()),
        ]

    @property
    def product(self) -> Product | None:
        return self._goods.get(self.cleaned_data["what"])

    @property
    def variety(self) -> Variety | None:
        return self._varieties.get(self.cleaned_data["what"])


class ServiceForm(HouseForm):
    """A service: its name, the unit it is counted in, its usual price and its tax."""

    name = forms.CharField(label=_("Name on the invoice"), max_length=100)
    unit = forms.ChoiceField(label=_("Counted by the"), choices=Service.Unit)
    usual_price = UnitPriceField(
        label=_("Usual price of one unit"),
        help_text=_("Leave empty if it is different each time."),
    )
    unit_cost = UnitPriceField(
        label=_("What one unit costs you"),
        help_text=_("Leave empty if you do not know; reports then show no margin for it."),
    )
    taxed_as = forms.ChoiceField(
        label=_("Sales tax"),
        required=False,
        choices=[("", _("no sales tax")), *TaxRate.Goods.choices],
        initial=TaxRate.Goods.SERVICES,
        help_text=_("Whether a service is taxed is local. Ask your tax authority."),
    )


class ServiceChangeForm(ServiceForm):
    is_active = forms.BooleanField(label=_("In use"), required=False)
