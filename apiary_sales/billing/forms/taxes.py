"""The forms of the tax return, and of certificates that came late."""

from collections.abc import Mapping
from datetime import date
from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.days import PeriodForm
from inventory.shared.forms.fields import WholeNumberField


class TaxReturnForm(PeriodForm):
    """The days of a tax return, and whose tax it is."""

    jurisdiction = forms.ChoiceField(label=_("Jurisdiction"), required=False)

    def __init__(self, *args: Any, jurisdictions: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.ChoiceField, self.fields["jurisdiction"]).choices = [
            ("", _("all")),
            *((name, name) for name in jurisdictions),
        ]

    @classmethod
    def of(
        cls, typed: Mapping[str, Any], jurisdictions: list[str]
    ) -> tuple["TaxReturnForm", date, date, str]:
        """Return the form to show, the days, and the jurisdiction; the usual ones where wrong."""
        form = cls(typed, jurisdictions=jurisdictions)
        since, until = form.days()
        chosen = form.cleaned_data.get("jurisdiction", "")
        if form.errors:
            return form, since, until, chosen
        shown = {"since": since, "until": until, "jurisdiction": chosen}
        return cls(initial=shown, jurisdictions=jurisdictions), since, until, chosen


class LateCertificateForm(ActForm):
    """Accept a certificate for an invoice that was issued with tax."""

    note = forms.CharField(
        label=_("Why the law allows it"),
        max_length=200,
        help_text=_(
            "For example: accepted in good faith within the 90 days that the state allows. "
            "It is printed on the credit note."
        ),
    )
    # The total that the page showed, which the button sends along.
    expected_total_cents = WholeNumberField(widget=forms.HiddenInput, required=False)
