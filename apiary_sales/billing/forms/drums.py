"""Drums that came back or are lost, and their deposits given back or kept."""

from collections.abc import Sequence

from django import forms
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries.drum_register import DepositToRefund, Outing
from apiary_sales.orders.models import DrumReturn, FulfilmentLine
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, WeightField, WholeNumberField

PAY_BACK = "pay_back"
ON_ACCOUNT = "on_account"


class DrumsReturnForm(ActForm):
    """Which drums of a customer came back, how they look, and what some weigh empty now."""

    outcome = forms.ChoiceField(
        label=_("How they came back"),
        choices=[
            (DrumReturn.Outcome.EMPTY, _("empty, to be filled again")),
            (DrumReturn.Outcome.DAMAGED, _("damaged, out of use")),
        ],
        initial=DrumReturn.Outcome.EMPTY,
        widget=forms.RadioSelect,
    )
    returned_on = DayField(label=_("Day"), initial=timezone.localdate)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args, outings: Sequence[Outing], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._outings = outings
        for outing in outings:
            self.fields[f"drum_{outing.line.pk}"] = forms.BooleanField(
                label=outing.drum.name, required=False
            )
            self.fields[f"tare_{outing.line.pk}"] = WeightField(
                label=_("Weighed empty"), required=False
            )

    def field_of(self, parameter: str | None) -> str | None:
        if parameter == "drums" and self._outings:
            return f"drum_{self._outings[0].line.pk}"
        if parameter and parameter.startswith("tares."):
            return super().field_of(parameter.replace("tares.", "tare_"))
        return super().field_of(parameter)

    def rows(self) -> list[tuple[Outing, BoundField, BoundField]]:
        """Return each drum that is out, with its tick and its empty weight."""
        return [
            (outing, self[f"drum_{outing.line.pk}"], self[f"tare_{outing.line.pk}"])
            for outing in self._outings
        ]

    @property
    def chosen(self) -> list[FulfilmentLine]:
        return [
            outing.line
            for outing in self._outings
            if self.cleaned_data.get(f"drum_{outing.line.pk}")
        ]

    @property
    def tares(self) -> dict[int, int]:
        """What the chosen drums weigh empty, by the key of their line."""
        typed = {line.pk: self.cleaned_data.get(f"tare_{line.pk}") for line in self.chosen}
        return {key: grams for key, grams in typed.items() if grams is not None}


class DrumLostForm(ActForm):
    fields_of_parameters = {"lost_on": "lost_on", "returned_on": "lost_on"}

    lost_on = DayField(label=_("Day"), initial=timezone.localdate)
    note = forms.CharField(label=_("What is known about it"), max_length=300)


class KeepDepositForm(ActForm):
    reason = forms.CharField(label=_("Why is the deposit kept?"), max_length=300)


class DepositRefundForm(ActForm):
    """For how many drums of each invoice the deposit is given back, and how."""

    how = forms.ChoiceField(
        label=_("What was paid for them"),
        choices=[
            (ON_ACCOUNT, _("stays on the customer's account")),
            (PAY_BACK, _("is given back now")),
        ],
        initial=ON_ACCOUNT,
        widget=forms.RadioSelect,
    )
    method = forms.ChoiceField(
        label=_("How it is given back"), choices=Payment.WAYS, initial=Payment.Method.CHECK
    )
    reference = forms.CharField(label=_("Check number or reference"), max_length=60, required=False)

    def __init__(self, *args, deposits: Sequence[DepositToRefund], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._deposits = deposits
        for deposit in deposits:
            self.fields[f"drums_{deposit.invoice.pk}"] = WholeNumberField(
                label=_("Drums of invoice %(invoice)s") % {"invoice": deposit.invoice},
                required=False,
                min_value=0,
                initial=deposit.drums,
                help_text=ngettext_lazy(
                    "%(count)s drum is back.", "%(count)s drums are back.", deposit.drums
                )
                % {"count": deposit.drums},
            )
        self.order_fields([*(name for name in self.fields if name.startswith("drums_"))])

    def field_of(self, parameter: str | None) -> str | None:
        if parameter == "drums" and self._deposits:
            return f"drums_{self._deposits[0].invoice.pk}"
        return super().field_of(parameter)

    @property
    def drums(self) -> dict[Invoice, int]:
        return {
            deposit.invoice: self.cleaned_data.get(f"drums_{deposit.invoice.pk}") or 0
            for deposit in self._deposits
        }
