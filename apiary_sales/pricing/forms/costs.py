"""Forms of what selling takes, of the work on a piece, and of what a season's honey cost."""

from decimal import Decimal

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.pricing.forms.prices import PerPoundField
from apiary_sales.pricing.models import ChannelCost, SeasonExpense
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import MoneyField, NumberField, WholeNumberField
from inventory.shared.weights import by_unit

BELOW_HUNDRED = {
    "min_value": _("Enter 0 percent or more, and less than 100."),
    "max_value": _("Enter 0 percent or more, and less than 100."),
}
NOT_NEGATIVE = {"min_value": _("Enter a cost of 0 or more.")}


class ChannelCostForm(HouseForm):
    """What one channel takes from the price."""

    discount_percent = NumberField(
        label=_("Usual discount, percent"),
        max_digits=5,
        decimal_places=2,
        min_value=0,
        max_value=Decimal("99.99"),
        error_messages=BELOW_HUNDRED,
        help_text=_("The average discount you give on the price list."),
    )
    card_percent = NumberField(
        label=_("Card fee, percent of all sales"),
        max_digits=5,
        decimal_places=2,
        min_value=0,
        max_value=Decimal("99.99"),
        error_messages=BELOW_HUNDRED,
        help_text=_(
            "Multiply the card fee by the share of sales paid by card. For example, a fee "
            "of 3 percent on half of the sales is 1.5 percent."
        ),
    )
    piece_cents = MoneyField(
        label=_("Cost of each piece"),
        error_messages=NOT_NEGATIVE,
        help_text=_("Bag, time at the stand, listing fee."),
    )
    per_pound = PerPoundField(
        label=by_unit(_("Cost of each {unit}")), help_text=_("Freight, the van, the drum itself.")
    )

    def __init__(self, *args, channel: str, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if channel == ChannelCost.Channel.BULK:
            # Drums are counted by the pound.
            self.fields["piece_cents"].widget = forms.HiddenInput()
            self.fields["piece_cents"].initial = 0


class FillingTimesForm(HouseForm):
    """Minutes of work on one piece, a field for each product, named by its code."""

    rows_by_place = False

    def __init__(self, *args, products, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for product in products:
            self.fields[product.code] = NumberField(
                label=product.name,
                required=False,
                max_digits=6,
                decimal_places=3,
                min_value=0,
                error_messages={"min_value": _("Enter 0 minutes or more.")},
            )

    def field_of(self, parameter: str | None) -> str | None:
        # The minutes of a product are `minutes.<code>` to the service.
        return super().field_of((parameter or "").removeprefix("minutes."))


class ExpenseForm(ActForm):
    """One expense of a season."""

    season = WholeNumberField(label=_("Season"), initial=lambda: timezone.localdate().year)
    category = forms.ChoiceField(label=_("What for"), choices=SeasonExpense.Category)
    amount_cents = MoneyField(
        label=_("Amount"), error_messages={"min_value": _("Enter an amount above zero.")}
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)


class LotCostForm(HouseForm):
    """What one extraction cost in all."""

    fields_of_parameters = {"cost_cents": "cost"}

    cost = MoneyField(
        label=_("Cost of the whole lot"),
        required=False,
        error_messages=NOT_NEGATIVE,
        help_text=_("Leave empty if the cost is not known."),
    )
