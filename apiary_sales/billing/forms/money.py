"""Invoices issued and credited, payments recorded and undone, and the details of the house."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import Payment
from apiary_sales.customers.fields import CustomerField
from inventory.shared import days
from inventory.shared.errors import HouseError
from inventory.shared.forms.acts import CHOOSE, ActForm, HouseForm
from inventory.shared.forms.countries import CountryField
from inventory.shared.forms.fields import DayField, MoneyField, NumberField, WholeNumberField
from inventory.shared.models import House
from inventory.shared.versions import OpenedOn

NOT_NEGATIVE = {"min_value": _("Enter 0 or more.")}


class IssueForm(ActForm):
    """Issue an invoice: dated and numbered now, for the total that was shown."""

    expected_total_cents = WholeNumberField(widget=forms.HiddenInput, required=False)


class DepositForm(ActForm):
    drums = WholeNumberField(
        label=_("Drums that came back"),
        help_text=_("They do not have to be the same drums, only the same number."),
    )


class PayBackForm(ActForm):
    """Money on account, given back to the customer."""

    fields_of_parameters = {"amount_cents": "amount", "paid_on": "received_on"}

    amount = MoneyField(label=_("Amount"), min_value=None)
    method = forms.ChoiceField(
        label=_("How it is given back"),
        choices=Payment.WAYS,
        initial=Payment.Method.CHECK,
        widget=forms.RadioSelect,
    )
    reference = forms.CharField(label=_("Check number or reference"), max_length=60, required=False)
    received_on = DayField(label=_("Day"), initial=timezone.localdate)


class UndoPaymentForm(ActForm):
    reason = forms.CharField(
        label=_("Why?"), max_length=300, help_text=_("For example: check bounced.")
    )


class InvoiceFilterForm(HouseForm):
    """Which invoices a list shows; anything unreadable shows all."""

    STATES = (
        ("", _("all")),
        ("open", _("to be paid")),
        ("overdue", _("overdue")),
        ("paid", _("paid")),
        ("credit", _("credit notes")),
        ("stand", _("stand receipts")),
    )

    text = forms.CharField(label=_("Name or number"), max_length=60, required=False)
    state = forms.ChoiceField(label=_("State"), choices=STATES, required=False)
    since = DayField(label=_("From"), required=False)
    until = DayField(label=_("Up to"), required=False)


class StatementForm(HouseForm):
    """The days a statement covers: from the first of January to today, unless told otherwise."""

    since = DayField(label=_("From"), required=False)
    until = DayField(label=_("Up to"), required=False)
    known_on = DayField(label=_("As it was known at the end of"), required=False)

    def known_at(self) -> datetime | None:
        """Return the moment up to which entries are known; None for now."""
        day = self.cleaned_data.get("known_on") if self.is_valid() else None
        return days.end(day) if day else None

    def days(self) -> tuple[date, date]:
        cleaned = self.cleaned_data if self.is_valid() else {}
        until = cleaned.get("until") or timezone.localdate()
        since = cleaned.get("since") or until.replace(month=1, day=1)
        return min(since, until), until


class CustomerChoiceForm(HouseForm):
    customer = CustomerField(label=_("Who paid?"))


# How the house writes and measures; what is not sent stays as it is.
CONVENTIONS = (
    "weight_unit",
    "currency",
    "smallest_coin_cents",
    "language",
    "decimal_sign",
    "first_weekday",
)


class HouseDetailsForm(OpenedOn, forms.ModelForm):
    """What is printed on every paper, and how tax, quotes and drums are handled."""

    drum_deposit_cents = MoneyField(label=_("Deposit on a drum"), error_messages=NOT_NEGATIVE)
    drum_price_cents = MoneyField(label=_("Price of an empty drum"), error_messages=NOT_NEGATIVE)
    country_code = CountryField(
        label=_("Country by its code"),
        required=False,
        help_text=_("For invoices with data that the buyer's program reads."),
    )
    drum_tolerance_percent = NumberField(
        label=_("Difference of a drum's weight that is not asked about, percent"),
        max_digits=4,
        decimal_places=2,
        min_value=0,
        max_value=20,
        help_text=_(
            "When a drum is weighed as it leaves and the scale differs by more from the books, a "
            "person has to confirm it."
        ),
    )
    interest_percent_a_year = NumberField(
        label=_("Interest on late payment, percent a year"),
        max_digits=6,
        decimal_places=3,
        min_value=0,
        required=False,
        help_text=_("Suggested when you bill interest. Ask your state about limits. 0 for none."),
        error_messages=NOT_NEGATIVE,
    )
    origin_country = CountryField(label=_("Country of your own honey"), required=False)

    class Meta:
        model = House
        fields = [
            "name",
            "street",
            "city",
            "region",
            "postal_code",
            "country",
            "country_code",
            "phone",
            "email",
            "tax_number",
            "bank_account",
            "bank_code",
            "payment_note",
            "paper",
            "receipt_paper",
            "tax_rounding",
            "prices_include_tax",
            "deposits_taxed",
            "discount_lowers_tax",
            "interest_percent_a_year",
            "quote_days",
            "drum_deposit_cents",
            "drum_price_cents",
            "drum_tolerance_percent",
            "market",
            *CONVENTIONS,
            "origin_country",
            "origin_region",
            "origin_rule",
        ]
        field_classes = {"quote_days": WholeNumberField, "smallest_coin_cents": WholeNumberField}
        error_messages = {
            "paper": {"required": CHOOSE},
            "receipt_paper": {"required": CHOOSE},
            "market": {"required": CHOOSE},
            "weight_unit": {"required": CHOOSE},
            "language": {"required": CHOOSE},
            "decimal_sign": {"required": CHOOSE},
            "first_weekday": {"required": CHOOSE},
            "smallest_coin_cents": {
                "min_value": _("Enter from 1 to 100 cents."),
                "max_value": _("Enter from 1 to 100 cents."),
            },
            "tax_rounding": {"required": CHOOSE},
            "origin_rule": {"required": CHOOSE},
            "quote_days": NOT_NEGATIVE,
        }
        help_texts = {
            "discount_lowers_tax": _(
                "In most states, and with VAT, what an early payment takes off is off the taxed "
                "amount too. This is common practice: ask your tax office."
            ),
            "weight_unit": _(
                "Honey is shown and priced by the pound, with gallons, inches and °F, or by the "
                "kilogram, with litres, centimetres and °C. Either can be typed. It stays as it is "
                "once there is a price or a sale by weight."
            ),
            "currency": _(
                "Three letters, such as USD or EUR. It stays as it is once anything is priced or "
                "booked."
            ),
            "smallest_coin_cents": _(
                "What is paid in cash is rounded to it: 5 where the five-cent piece is the "
                "smallest coin, 1 where every cent is paid. Cards pay to the cent."
            ),
            "language": _(
                "Of papers, and of pages for a browser that asks for neither. Each person can "
                "choose another for the pages."
            ),
            "decimal_sign": _("How figures are written and read, in either language."),
            "first_weekday": _("The day on which a week begins in calendars."),
            "market": _("Sets how labels write the net weight, and how high its letters are."),
            "origin_country": _("The country your own hives are in, for labels and the trace."),
            "origin_rule": _(
                "The European Union wants every country of a blend with its percentage, largest "
                "first, from 14 June 2026 (Directive 2001/110/EC as changed by (EU) 2024/1438). "
                "Honey packed before may sell out, and each country has options of its own. This "
                "is from memory: ask your authority."
            ),
            "tax_number": _(
                "Where you pay value added tax, the number with the letters of the country."
            ),
            "bank_account": _("IBAN or account number, for invoices with data."),
            "bank_code": _("BIC, if buyers abroad need it."),
            "payment_note": _("Printed on invoices: account, name on checks, other ways."),
            "tax_rounding": _(
                "Ask your tax office which one to use. Both follow the usual rounding rule."
            ),
            "prices_include_tax": _(
                "As where value added tax is paid: the buyer pays the price to the cent, and the "
                "tax is worked out from it, once for each rate of an invoice. A buyer who is "
                "exempt pays the same price unless the order has a lower one."
            ),
            "deposits_taxed": _(
                "If not, a deposit is outside the scope of tax. Ask your tax office."
            ),
        }

    def clean_interest_percent_a_year(self) -> Decimal:
        return self.cleaned_data["interest_percent_a_year"] or Decimal(0)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in CONVENTIONS:
            self.fields[name].required = False
            # What the label's template asks for; Django's class does not declare it.
            self.fields[name].is_one_of_several = True  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for name in CONVENTIONS:
            if name in cleaned and cleaned[name] in ("", None):
                cleaned[name] = getattr(self.instance, name)
        return cleaned

    def refuse(self, error: HouseError) -> None:
        """Show each problem of a refused change at its field."""
        for problem in error.problems:
            self.add_error(problem.parameter, problem.message)
