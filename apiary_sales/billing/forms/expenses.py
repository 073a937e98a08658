"""Forms of expenses, and of those that come again."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.forms.purchasing import NOT_NEGATIVE, paid_by_field
from apiary_sales.billing.models import ExpenseCategory, Rhythm
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import DayField, FileField, MoneyField, WholeNumberField


def _payee() -> forms.CharField:
    return forms.CharField(
        label=_("Paid to"),
        max_length=120,
        error_messages={"required": _("Enter who was paid.")},
    )


def _category() -> forms.ChoiceField:
    return forms.ChoiceField(label=_("What for"), choices=[("", "–"), *ExpenseCategory.choices])


def _amount() -> MoneyField:
    return MoneyField(
        label=_("Amount"),
        help_text=_("All that was paid, tax included."),
        error_messages={"min_value": _("Enter an amount above zero.")},
    )


def _tax() -> MoneyField:
    return MoneyField(
        label=_("Tax that you get back"),
        required=False,
        error_messages=NOT_NEGATIVE,
        help_text=_("Only where you may deduct it. Leave empty otherwise."),
    )


class ExpenseEnterForm(ActForm):
    """Money that was spent, with its receipt."""

    fields_of_parameters = {"amount_cents": "amount", "tax_cents": "tax", "kind": "file"}

    payee = _payee()
    category = _category()
    amount = _amount()
    tax = _tax()
    paid_by = paid_by_field()
    spent_on = DayField(label=_("Day"), initial=timezone.localdate)
    season = WholeNumberField(
        label=_("Season of honey"),
        required=False,
        help_text=_(
            "The year whose honey it was spent on, for bees, feed, treatments, wages, fuel, yards, "
            "extracting, repairs and other. It is then in the cost of that honey too. Leave empty "
            "otherwise."
        ),
    )
    file = FileField(
        label=_("Receipt"), required=False, help_text=_("A photo or a PDF. You may add it later.")
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)


class RecurringForm(ActForm):
    """An expense that comes again, and when it comes next."""

    fields_of_parameters = {"amount_cents": "amount", "tax_cents": "tax"}

    payee = _payee()
    category = _category()
    amount = _amount()
    tax = _tax()
    paid_by = paid_by_field()
    rhythm = forms.ChoiceField(
        label=_("How often"), choices=Rhythm, initial=Rhythm.MONTH, widget=forms.RadioSelect
    )
    next_on = DayField(label=_("Next on"), initial=timezone.localdate)
    for_season = forms.BooleanField(
        label=_("It is a part of what the honey of its year costs"), required=False
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)
    is_active = forms.BooleanField(label=_("In use"), required=False, initial=True)


class ExpenseFilterForm(HouseForm):
    """Which expenses a list shows: of this year, unless asked otherwise."""

    text = forms.CharField(label=_("Paid to, or note"), max_length=60, required=False)
    category = forms.ChoiceField(
        label=_("What for"), choices=[("", _("all")), *ExpenseCategory.choices], required=False
    )
    since = DayField(label=_("From"), required=False)
    until = DayField(label=_("Up to"), required=False)

    def asked(self) -> dict[str, Any]:
        """Return the filters, with this year's days where none can be read."""
        self.is_valid()
        found = {name: self.cleaned_data.get(name) for name in self.fields}
        until = found["until"] or timezone.localdate()
        since = found["since"] or until.replace(month=1, day=1)
        return {
            "text": found["text"] or "",
            "category": found["category"] or "",
            "since": min(since, until),
            "until": until,
        }
