"""What is asked about customers, what they owe, and first numbers."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from apiary_sales.web.first_hour.forms.rows import RowForm
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import DayField, MoneyField, WholeNumberField


class MoneyInHandForm(HouseForm):
    """The money there is on the opening day, and a list to paste."""

    cash = MoneyField(label=_("Cash in hand"), required=False)
    bank = MoneyField(
        label=_("In the bank"),
        required=False,
        min_value=None,
        help_text=_("Below zero if the account is overdrawn."),
    )
    pasted = forms.CharField(
        label=_("Paste a list"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_(
            "A line for each: name, e-mail, invoice number, amount still owed, "
            "day of the invoice. Between them a tab (as a spreadsheet copies it), a semicolon or "
            "a comma. A customer with two open invoices has two lines."
        ),
    )


class CustomerRow(RowForm):
    """One customer, and an invoice that is still open, if there is one."""

    asks = ("name", "number", "amount")
    fields_of_parameters = {
        "amount_cents": "amount",
        "begins_on": "issued_on",
        "due_on": "issued_on",
        "kind": "tier",
        "customer": "name",
    }

    name = forms.CharField(label=_("Customer"), max_length=120)
    tier = forms.ChoiceField(
        label=_("Price list"), choices=Customer.Tier, initial=Customer.Tier.SHOP
    )
    email = forms.EmailField(label=_("E-mail"), required=False)
    number = forms.CharField(label=_("Open invoice"), max_length=40, required=False)
    amount = MoneyField(label=_("Still owed"), required=False)
    issued_on = DayField(label=_("Its day"), required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("amount"):
            if not data.get("number"):
                self.add_error("number", _("Enter the number of the invoice."))
            if not data.get("issued_on") and "issued_on" not in self.errors:
                self.add_error("issued_on", _("Enter the day of the invoice."))
        elif data.get("number") and "amount" not in self.errors:
            self.add_error("amount", _("Enter what is still owed of it."))
        return data


class FirstNumberRow(RowForm):
    """The number that a series begins at."""

    fields_of_parameters = {"number": "first"}

    first = WholeNumberField(label=_("Next number"))
