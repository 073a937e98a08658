"""Which reminders are approved, when they are due, and who gets none."""

from collections.abc import Iterable
from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import Invoice
from apiary_sales.mailing.services.reminders import DueReminder
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, MoneyField, WholeNumberField


class ApproveForm(ActForm):
    """The reminders that are due, each with a box that is ticked at first.

    The value of a box names the customer and is a mark of what was shown, so that nothing else is
    sent.
    """

    chosen = forms.MultipleChoiceField(
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "invalid_choice": _(
                "The reminders have changed since you opened this page. Look at them again."
            )
        },
    )

    def __init__(self, *args: Any, rows: Iterable[DueReminder], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        values = [value_of(row) for row in rows if row.customer.email]
        field = cast(forms.MultipleChoiceField, self.fields["chosen"])
        field.choices = [(value, value) for value in values]
        field.initial = values

    def clean_chosen(self) -> dict[int, str]:
        pairs = (value.split(":") for value in self.cleaned_data["chosen"])
        return {int(pk): digest for pk, digest in pairs}

    def ticked(self) -> set[str]:
        """Return the boxes to tick: those that were, or all at first."""
        return set(self["chosen"].value() or ())


def value_of(row: DueReminder) -> str:
    return f"{row.customer.pk}:{row.digest}"


class ReminderPlanForm(ActForm):
    fields_of_parameters = {"minimum_cents": "minimum"}

    first_days = WholeNumberField(label=_("First reminder, days after the due day"))
    second_days = WholeNumberField(label=_("Second reminder, days after the due day"))
    third_days = WholeNumberField(label=_("Last reminder, days after the due day"))
    minimum = MoneyField(
        label=_("Least amount"),
        help_text=_("Who owes less than this gets no reminders."),
    )


class PauseForm(ActForm):
    invoice = forms.ModelChoiceField(
        label=_("Invoice"),
        queryset=Invoice.objects.none(),
        required=False,
        empty_label=_("all invoices of this customer"),
    )
    reason = forms.CharField(
        label=_("Why?"), max_length=200, help_text=_("For example: the delivery is disputed.")
    )
    until = DayField(
        label=_("Up to"), required=False, help_text=_("Empty: until you end it yourself.")
    )

    def __init__(self, *args: Any, invoices: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = cast("forms.ModelChoiceField[Invoice]", self.fields["invoice"])
        field.queryset = invoices
