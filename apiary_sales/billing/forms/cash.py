"""Money brought to the bank and counted, and what the books begin with."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any, cast

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import EntryLine, OpeningAmount, Payment
from apiary_sales.billing.queries.cash_book import KEPT_IN
from apiary_sales.customers.fields import CustomerField
from inventory.shared import words
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import DayField, MoneyField, WholeNumberField

LONGEST = timedelta(days=366)


class DepositSlipForm(ActForm):
    """Checks and cash for the bank."""

    fields_of_parameters = {"cash_cents": "cash"}

    checks = forms.ModelMultipleChoiceField(
        label=_("Checks"),
        queryset=Payment.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    cash = MoneyField(label=_("Cash"), initial=0, min_value=None)
    deposited_on = DayField(label=_("Day"), initial=timezone.localdate)
    bank_account = forms.CharField(label=_("Bank account"), max_length=80, required=False)

    def __init__(self, *args: Any, here: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        checks = cast("forms.ModelMultipleChoiceField", self.fields["checks"])
        checks.queryset = here
        checks.label_from_instance = self._named  # type: ignore[assignment]

    @staticmethod
    def _named(payment: Payment) -> str:
        parts = (words.money(payment.face_cents), payment.customer or _("stand"))
        return ", ".join(str(part) for part in (*parts, payment.reference) if part)


class CashCountForm(ActForm):
    """The cash in the drawer at the end of a day."""

    fields_of_parameters = {"counted_cents": "counted"}

    counted = MoneyField(label=_("Cash that is there"), min_value=None)
    counted_on = DayField(label=_("Day"), initial=timezone.localdate)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)


class CashBookForm(HouseForm):
    """Which days of the cash book, and which money: this month and all, unless told otherwise."""

    since = DayField(label=_("From"), required=False)
    until = DayField(label=_("Up to"), required=False)
    account = forms.ChoiceField(
        label=_("Money"), required=False, choices=[("", _("all")), *KEPT_IN.items()]
    )

    def chosen(self) -> tuple[date, date, str]:
        cleaned = self.cleaned_data if self.is_valid() else {}
        until = cleaned.get("until") or timezone.localdate()
        since = cleaned.get("since") or until.replace(day=1)
        return max(min(since, until), until - LONGEST), until, cleaned.get("account", "")


class OpeningInvoiceForm(ActForm):
    """An invoice from before the books began that is still to be paid."""

    fields_of_parameters = {"amount_cents": "amount"}

    customer = CustomerField(label=_("Customer"))
    number = forms.CharField(label=_("Number on the invoice"), max_length=40)
    amount = MoneyField(
        label=_("Left to pay"), min_value=None, help_text=_("With tax, as it is owed today.")
    )
    issued_on = DayField(label=_("Date of the invoice"))
    due_on = DayField(label=_("Due"))
    begins_on = DayField(label=_("Day on which your books begin here"), initial=timezone.localdate)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)


class OpeningCreditForm(ActForm):
    """Money or a credit that a customer had before the books began."""

    fields_of_parameters = {"amount_cents": "amount"}

    customer = CustomerField(label=_("Customer"))
    amount = MoneyField(label=_("Amount"), min_value=None)
    reference = forms.CharField(
        label=_("Number of the credit note or payment"), max_length=60, required=False
    )
    begins_on = DayField(label=_("Day on which your books begin here"), initial=timezone.localdate)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)


class OpeningAmountForm(ActForm):
    """Money that was there, or owed, when the books began."""

    fields_of_parameters = {"amount_cents": "amount"}

    account = forms.ChoiceField(
        label=_("What"),
        choices=[(account, EntryLine.Account(account).label) for account in OpeningAmount.ACCOUNTS],
    )
    amount = MoneyField(
        label=_("Amount"),
        min_value=None,
        help_text=_("Sales tax and deposits: what you owe. A bank account may be below zero."),
    )
    begins_on = DayField(label=_("Day on which your books begin here"), initial=timezone.localdate)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)


class FirstNumberForm(ActForm):
    """The first number of a series."""

    series = forms.ChoiceField(label=_("Of what"))
    number = WholeNumberField(label=_("First number"))

    def __init__(self, *args: Any, series: Iterable[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.ChoiceField, self.fields["series"]).choices = list(series)
