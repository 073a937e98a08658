"""An order that its buyer fetches at the stand: what is handed over, and how it is paid."""

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.forms.money import NOT_NEGATIVE
from apiary_sales.billing.forms.stand import METHODS
from apiary_sales.billing.models import Payment
from apiary_sales.billing.queries.stand_pickups import PickupLine
from apiary_sales.billing.services.stand_money import PaymentMade
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import MoneyField, WholeNumberField

ON_ACCOUNT = "on_account"


class PickupSearchForm(HouseForm):
    """Which orders the list shows."""

    text = forms.CharField(
        label=_("Name or order number"), max_length=80, required=False, empty_value=""
    )


class PickupForm(ActForm):
    """How much of each line is handed over now, and how what is left to pay is paid."""

    fields_of_parameters = {"payments": "method", "on_account": "method", "on_top_cents": "on_top"}

    is_brought = forms.BooleanField(
        label=_("The pieces from elsewhere were brought here"), required=False
    )
    method = forms.ChoiceField(label=_("Paid by"), initial="cash", widget=forms.RadioSelect)
    tendered = MoneyField(label=_("Cash given"), required=False, error_messages=NOT_NEGATIVE)
    reference = forms.CharField(label=_("Check number"), max_length=60, required=False)
    cash = MoneyField(label=_("Of it in cash"), required=False, error_messages=NOT_NEGATIVE)
    card = MoneyField(label=_("Of it by card"), required=False, error_messages=NOT_NEGATIVE)
    check = MoneyField(label=_("Of it by check"), required=False, error_messages=NOT_NEGATIVE)
    on_top = MoneyField(label=_("Given on top"), required=False, error_messages=NOT_NEGATIVE)
    expected_total_cents = WholeNumberField(widget=forms.HiddenInput, required=False)

    def __init__(
        self, *args: Any, lines: Sequence[PickupLine], terms_days: int, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._lines = lines
        choices: list[tuple[str, Any]] = list(METHODS)
        if terms_days > 0:
            choices.append((ON_ACCOUNT, _("On account, to be paid later")))
        self.fields["method"].choices = choices  # type: ignore[attr-defined]
        for row in lines:
            self.fields[_name(row)] = WholeNumberField(
                label=row.line.description,
                required=False,
                min_value=0,
                max_value=row.line.to_fill,
                initial=row.suggested,
                error_messages=NOT_NEGATIVE,
            )
        if not any(row.elsewhere for row in lines):
            del self.fields["is_brought"]
        self.quantities = {row.line.pk: row.suggested for row in lines if row.suggested}

    @property
    def rows(self) -> list[tuple[PickupLine, forms.BoundField]]:
        return [(row, self[_name(row)]) for row in self._lines]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        # Kept, since what the service refuses is taken out of the cleaned data.
        self.quantities = {
            row.line.pk: typed for row in self._lines if (typed := data.get(_name(row)))
        }
        self.is_on_account = data.get("method") == ON_ACCOUNT
        self.is_brought = data.get("is_brought", False)
        self.payments = self._payments(data)
        return data

    def field_of(self, parameter: str | None) -> str | None:
        if found := re.fullmatch(r"quantities\.(\d+)", parameter or ""):
            return super().field_of(f"pieces_{found[1]}")
        if found := re.fullmatch(r"payments\.(\d+)\.(\w+)", parameter or ""):
            if found[2] == "tendered_cents":
                return super().field_of("tendered")
            method = self.payments[int(found[1])].method
            return super().field_of(method if found[2] == "cents" else "method")
        return super().field_of(parameter)

    def _payments(self, data: dict[str, Any]) -> list[PaymentMade]:
        """Return how it was paid: in the ways with an amount of their own, or all in one."""
        parts = {method: data[method] for method, _label in METHODS if data.get(method)}
        if parts:
            return [self._payment(method, cents, data) for method, cents in parts.items()]
        method = data.get("method")
        if not method or method == ON_ACCOUNT:
            return []
        return [self._payment(method, None, data)]

    @staticmethod
    def _payment(method: str, cents: int | None, data: dict[str, Any]) -> PaymentMade:
        if method == Payment.Method.CASH:
            tendered_cents = data.get("tendered")
            # A part in cash is given as it is, unless more was handed over.
            return PaymentMade(method, cents, cents if tendered_cents is None else tendered_cents)
        reference = data.get("reference", "") if method == Payment.Method.CHECK else ""
        return PaymentMade(method, cents, reference=reference)


def _name(row: PickupLine) -> str:
    return f"pieces_{row.line.pk}"
