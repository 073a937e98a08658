"""Money received and put to invoices, and what may happen with it later."""

from collections.abc import Iterable
from typing import Any, cast

from django import forms
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing import rules
from apiary_sales.billing.models import Adjustment, Invoice, Payment
from apiary_sales.billing.services.payments import Rest
from apiary_sales.orders.models import Order
from inventory.shared import words
from inventory.shared.coins import to_coins
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, MoneyField, NumberField, WholeNumberField

OLDEST_FIRST, CHOSEN, FOR_ORDER = "oldest", "chosen", "order"


class PaymentForm(ActForm):
    """Money from a customer, and which of their invoices it pays.

    Each open invoice has a tick and an amount; ticked without an amount, it gets what is open on
    it, as far as the money reaches. Where something is left of an invoice that was chosen, the form
    asks what happens with it.
    """

    fields_of_parameters = {"amount_cents": "amount"}

    amount = MoneyField(label=_("Amount"), min_value=None)
    method = forms.ChoiceField(
        label=_("Paid by"),
        choices=Payment.WAYS,
        initial=Payment.Method.CHECK,
        widget=forms.RadioSelect,
    )
    reference = forms.CharField(label=_("Check number or reference"), max_length=60, required=False)
    received_on = DayField(label=_("Received"), initial=timezone.localdate)
    allocations = forms.ChoiceField(
        label=_("Used for"), initial=OLDEST_FIRST, widget=forms.RadioSelect
    )
    rest = forms.ChoiceField(
        label=_("What is left to pay of these invoices"),
        choices=Rest,
        required=False,
        widget=forms.RadioSelect,
    )
    rest_reason = forms.CharField(
        label=_("Why it is written off"),
        max_length=300,
        required=False,
        help_text=_("Only where you write it off."),
    )
    is_another = forms.BooleanField(label=_("It is another payment"), required=False)

    def __init__(
        self,
        *args: Any,
        open_invoices: Iterable[Invoice],
        order: Order | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.open_invoices = {invoice.pk: invoice for invoice in open_invoices}
        self.order = order
        choices: list[tuple[str, Any]] = [
            (OLDEST_FIRST, _("Whatever is due first; any money left over stays on account"))
        ]
        if self.open_invoices:
            choices.append((CHOSEN, _("The invoices that I tick")))
        if order is not None:
            kept = _now("Order %(order)s: kept for its invoices") % {"order": order.number}
            choices.insert(0, (FOR_ORDER, kept))
        cast(forms.ChoiceField, self.fields["allocations"]).choices = choices
        for pk, invoice in self.open_invoices.items():
            name = {"invoice": invoice}
            self.fields[f"take_{pk}"] = forms.BooleanField(
                label=_now("Invoice %(invoice)s") % name, required=False
            )
            self.fields[f"share_{pk}"] = MoneyField(
                label=_now("Amount for invoice %(invoice)s") % name,
                required=False,
                error_messages={"min_value": _("Enter 0 or more.")},
            )
            self.fields[f"share_{pk}"].widget.attrs["data-open"] = str(invoice.open_cents)

    @property
    def invoice_rows(self) -> list[dict[str, Any]]:
        """The open invoices with their tick and amount, for the page."""
        return [
            {
                "invoice": invoice,
                "discount_cents": self._discount_today(invoice),
                "pays_cents": invoice.open_cents - self._discount_today(invoice),
                "take": self[f"take_{pk}"],
                "share": self[f"share_{pk}"],
            }
            for pk, invoice in self.open_invoices.items()
        ]

    def _discount_today(self, invoice: Invoice) -> int:
        until = invoice.discount_until
        return invoice.discount_cents if until and until >= timezone.localdate() else 0

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        amount = cleaned.get("amount")
        if amount is None or amount <= 0 or "allocations" not in cleaned:
            return cleaned
        if cleaned["allocations"] == CHOSEN and not self.chosen(cleaned):
            self.add_error("allocations", _("Tick the invoices that this payment is for."))
        elif not cleaned.get("rest"):
            self._ask_about_rest(cleaned)
        return cleaned

    def _ask_about_rest(self, cleaned: dict[str, Any]) -> None:
        """Ask what happens with what is left of an invoice, where nobody has said it."""
        is_chosen = cleaned["allocations"] == CHOSEN
        if cleaned["allocations"] == FOR_ORDER:
            return
        shares = (
            list(self.chosen(cleaned).items())
            if is_chosen
            else rules.oldest_first(self.open_invoices.values(), cleaned["amount"])
        )
        paid_on = cleaned.get("received_on") or timezone.localdate()
        for invoice, cents in shares:
            left_cents = invoice.open_cents - cents
            if not cents or left_cents <= 0:
                continue
            until = invoice.discount_until
            if until and paid_on <= until and left_cents == invoice.discount_cents:
                self.add_error(
                    "rest",
                    _now(
                        "Invoice %(invoice)s has %(left)s left to pay. That is exactly the "
                        "discount for payment by %(day)s. Say whether it is."
                    )
                    % {
                        "invoice": invoice,
                        "left": words.money(left_cents),
                        "day": date_format(until),
                    },
                )
            elif is_chosen:
                self.add_error(
                    "rest",
                    _now(
                        "Invoice %(invoice)s has %(left)s left to pay after this payment. Say "
                        "what happens with it."
                    )
                    % {"invoice": invoice, "left": words.money(left_cents)},
                )

    def chosen(self, cleaned: dict[str, Any]) -> dict[Invoice, int]:
        """Return what goes to each ticked invoice; without an amount, as much as is left."""
        left = self._pays(cleaned)
        shares = {}
        for pk, invoice in self.open_invoices.items():
            typed = self._typed_share(cleaned, invoice)
            if not cleaned.get(f"take_{pk}") and not typed:
                continue
            share = min(invoice.open_cents, max(0, left)) if typed is None else typed
            left -= share
            shares[invoice] = share
        return shares

    @staticmethod
    def _typed_share(cleaned: dict[str, Any], invoice: Invoice) -> int | None:
        """Return what was typed for an invoice: in cash all of it, where it is but for coins."""
        typed: int | None = cleaned.get(f"share_{invoice.pk}")
        is_cash = cleaned.get("method") == Payment.Method.CASH
        if is_cash and typed and to_coins(invoice.open_cents) == typed:
            return invoice.open_cents
        return typed

    def _pays(self, cleaned: dict[str, Any]) -> int:
        """Return what the amount pays: in cash all that is due, where there are no coins for it."""
        amount: int = cleaned["amount"]
        if cleaned.get("method") != Payment.Method.CASH:
            return amount
        due = 0
        for pk, invoice in self.open_invoices.items():
            typed = self._typed_share(cleaned, invoice)
            if typed is not None or cleaned.get(f"take_{pk}"):
                due += invoice.open_cents if typed is None else typed
        return due if due and to_coins(due) == amount else amount

    def shares(self) -> dict[Invoice, int] | None:
        """Return what goes to the chosen invoices, or None for what is due first."""
        if self.cleaned_data["allocations"] == CHOSEN and self.cleaned_data["amount"] > 0:
            return self.chosen(self.cleaned_data)
        return None

    def field_of(self, parameter: str | None) -> str | None:
        # What is wrong with the amount for one invoice is told where invoices are chosen.
        of_one = (parameter or "").startswith("allocations.")
        return super().field_of("allocations" if of_one else parameter)

    def is_for_order(self) -> bool:
        return self.cleaned_data["allocations"] == FOR_ORDER


class RefundForm(ActForm):
    """Money given back for a credit note."""

    fields_of_parameters = {"amount_cents": "amount", "paid_on": "received_on"}

    amount = MoneyField(label=_("Amount"), min_value=None)
    method = forms.ChoiceField(
        label=_("How it is given back"), choices=Payment.WAYS, widget=forms.RadioSelect
    )
    reference = forms.CharField(label=_("Check number or reference"), max_length=60, required=False)
    received_on = DayField(label=_("Day"), initial=timezone.localdate)


class CheckBounceForm(ActForm):
    """A check that the bank gave back."""

    fields_of_parameters = {"bank_fee_cents": "bank_fee", "customer_fee_cents": "customer_fee"}

    bounced_on = DayField(label=_("Day on which it came back"), initial=timezone.localdate)
    bank_fee = MoneyField(
        label=_("Fee of the bank"),
        initial=0,
        help_text=_("Your own cost."),
        error_messages={"min_value": _("Enter 0 or more.")},
    )
    customer_fee = MoneyField(
        label=_("Fee that you bill the customer"),
        initial=0,
        help_text=_("Billed at once by an invoice. Ask your state about limits. 0 for none."),
        error_messages={"min_value": _("Enter 0 or more.")},
    )
    reason = forms.CharField(label=_("Note"), max_length=300, required=False)


class UndoReasonForm(ActForm):
    """Why something is undone."""

    reason = forms.CharField(label=_("Why?"), max_length=300)


class AdjustForm(ActForm):
    """An amount of an invoice that will not be paid."""

    fields_of_parameters = {"cents": "amount"}

    kind = forms.ChoiceField(
        label=_("What it is"),
        choices=[(kind.value, kind.label) for kind in Adjustment.BY_HAND],
        widget=forms.RadioSelect,
    )
    amount = MoneyField(label=_("Amount"), min_value=None)
    reason = forms.CharField(label=_("Reason"), max_length=300)
    lowers_tax = forms.BooleanField(
        label=_("The tax in it is not owed either"),
        required=False,
        help_text=_("Ask your tax office when the tax of a bad debt may be taken off."),
    )
    happened_on = DayField(label=_("Day"), initial=timezone.localdate)


class InterestForm(ActForm):
    """The interest that is charged, as it was shown."""

    percent_a_year = NumberField(
        label=_("Percent a year"),
        max_digits=6,
        decimal_places=3,
        min_value=0,
        max_value=100,
        help_text=_("Simple interest by the day, a year of 365 days."),
    )
    until = DayField(label=_("Up to"), initial=timezone.localdate)
    total_cents = WholeNumberField(widget=forms.HiddenInput, required=False)
