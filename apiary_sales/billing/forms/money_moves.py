"""Money moved between the accounts of the house."""

from django import forms
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import WAYS
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, MoneyField


def value_of(from_account: str, to_account: str) -> str:
    """Return what the form calls a way that money moves."""
    return f"{from_account}-{to_account}"


def _ways() -> list[tuple[str, str]]:
    return [
        ("", "–"),
        *((value_of(*way), capfirst(str(text))) for way, text in WAYS.items()),
    ]


class MoveMoneyForm(ActForm):
    """What moved, how much, and what the bank or the card company kept of it."""

    fields_of_parameters = {
        "from_account": "what",
        "to_account": "what",
        "cents": "amount",
        "fee_cents": "fee",
    }

    what = forms.ChoiceField(label=_("What"), choices=_ways)
    amount = MoneyField(
        label=_("Amount"),
        min_value=None,
        help_text=_("All that left, with the fee."),
    )
    fee = MoneyField(
        label=_("Fee of the bank or card company"),
        initial=0,
        min_value=None,
        required=False,
        help_text=_("It is a part of the amount, and entered as an expense."),
    )
    moved_on = DayField(label=_("Day"), initial=timezone.localdate)
    reference = forms.CharField(label=_("Reference"), max_length=60, required=False)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def clean_what(self) -> tuple[str, str]:
        """Return the accounts that money leaves and comes to."""
        from_account, _sign, to_account = self.cleaned_data["what"].partition("-")
        return from_account, to_account
