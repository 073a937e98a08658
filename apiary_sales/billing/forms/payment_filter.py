"""Which payments a list shows."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import Payment
from inventory.shared.forms.days import DaysForm


class PaymentFilterForm(DaysForm):
    """Which payments a list shows; what is unreadable is left out."""

    field_order = ["text", "method", "first", "last"]

    text = forms.CharField(label=_("Name or number of a check"), max_length=60, required=False)
    method = forms.ChoiceField(
        label=_("Paid by"), choices=[("", _("all")), *Payment.Method.choices], required=False
    )

    def asked(self) -> dict[str, Any]:
        """Return what was asked for and can be read."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}
