"""What is asked of a tried price."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.planning.price_answer import PriceWish
from apiary_sales.planning.rules.demand import Period, period_from
from apiary_sales.planning.rules.price_try import Reaction
from apiary_sales.pricing.forms.prices import NEGATIVE, PerPoundField
from apiary_sales.pricing.rules.costs import TIER_OF_CHANNEL
from apiary_sales.pricing.rules.price_changes import PERCENT_MAX, Ending
from inventory.bottling.models import Product
from inventory.shared.days import months_later, years_before
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import MoneyField, NumberField, WeightField
from inventory.shared.weights import by_unit

YEAR = "year"
NOT_ABOVE_ZERO = _(
    "Enter 0 or a figure below it, such as -0.8: when the price rises, fewer are sold."
)
TOO_STEEP = _("Enter an elasticity from -10 to 0.")


class ElasticityField(NumberField):
    """By how many percent sales change when the price rises by one percent; never above zero."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            max_digits=4,
            decimal_places=2,
            min_value=-10,
            max_value=0,
            error_messages={"max_value": NOT_ABOVE_ZERO, "min_value": TOO_STEEP},
            **kwargs,
        )


class SalesPeriodForm(HouseForm):
    """Which sales a price is tried on."""

    period = forms.ChoiceField(
        label=_("Sales to try it on"),
        required=False,
        choices=[
            (YEAR, _("the last 12 months")),
            ("3", _("the coming 3 months, as they were a year ago")),
            ("6", _("the coming 6 months, as they were a year ago")),
        ],
    )


class PriceTryForm(SalesPeriodForm):
    """A tried price, and how much buyers react to it."""

    products = forms.MultipleChoiceField(
        label=_("Products"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Tick none to try it on all of them."),
    )
    channel = forms.ChoiceField(
        label=_("Channel"),
        required=False,
        choices=[
            ("", _("all channels")),
            *((channel.value, channel.label) for channel in TIER_OF_CHANNEL),
        ],
    )
    percent = NumberField(
        label=_("Prices up or down by, percent"),
        required=False,
        max_digits=5,
        decimal_places=2,
        help_text=_("10 raises prices by 10 %, -10 lowers them."),
    )
    new_cents = MoneyField(
        label=_("Or a new price of one piece"),
        required=False,
        help_text=_("For one product and one channel."),
        error_messages=NEGATIVE,
    )
    ending = forms.ChoiceField(
        label=_("New prices end in"), choices=Ending, initial=Ending.CENT, required=False
    )
    least = ElasticityField(label=_("If buyers react least"))
    likely = ElasticityField(label=_("Most likely"))
    most = ElasticityField(label=_("If buyers react most"))
    drum_price = PerPoundField(label=by_unit(_("Drum price per {unit}")), required=False)
    coming_grams = WeightField(
        label=_("Honey that still comes in that time"),
        required=False,
        help_text=_(
            "If the field is empty, the average of earlier years is used. Type 0 for none."
        ),
    )

    def __init__(self, *args: Any, offered: list[Product], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["products"]
        field.choices = [(each.code, each.name) for each in offered]  # type: ignore[attr-defined]
        for each in self.fields.values():
            # What may stay empty is plain from its words.
            each.is_one_of_several = not each.required  # type: ignore[attr-defined]
        self._ids = {each.code: each.pk for each in offered}

    def clean_percent(self) -> Decimal | None:
        percent: Decimal | None = self.cleaned_data["percent"]
        if percent is not None and not -PERCENT_MAX < percent <= PERCENT_MAX:
            raise forms.ValidationError(
                _("Prices can go up by 100 percent at most, and down by less than 100 percent.")
            )
        return percent

    def clean(self) -> dict[str, Any]:
        data = self.cleaned_data
        percent, cents = data.get("percent"), data.get("new_cents")
        if not {"percent", "new_cents"} & self.errors.keys():
            if not percent and cents is None:
                self.add_error("percent", _("Enter a percent, or a new price."))
            elif percent and cents is not None:
                self.add_error("new_cents", _("Enter either a percent or a new price, not both."))
        if cents == 0:
            self.add_error("new_cents", _("Enter a price above 0."))
        elif cents and (len(data.get("products", ())) != 1 or not data.get("channel")):
            self.add_error("new_cents", _("Tick one product, and choose its channel."))
        least, likely, most = (data.get(name) for name in ("least", "likely", "most"))
        if least is not None and likely is not None and likely > least:
            self.add_error("likely", _("Enter a figure no nearer to 0 than the one before it."))
        if likely is not None and most is not None and most > likely:
            self.add_error("most", _("Enter a figure no nearer to 0 than the one before it."))
        return data

    def wish(self) -> PriceWish:
        data = self.cleaned_data
        return PriceWish(
            products=frozenset(self._ids[code] for code in data["products"]),
            channel=data["channel"],
            percent=data["percent"],
            new_cents=data["new_cents"],
            # A new price is meant as it is typed.
            ending=Ending.CENT if data["new_cents"] else data["ending"] or Ending.CENT,
            reaction=Reaction(data["least"], data["likely"], data["most"]),
            drum_price=data["drum_price"],
            coming_grams=data["coming_grams"],
        )


def period_asked(period: str, on: date) -> Period:
    """Return the days whose sales are tried."""
    if period in ("3", "6"):
        return period_from(years_before(on, 1), int(period))
    return period_from(months_later(on, -12), 12)
