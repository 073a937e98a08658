"""Forms of a recall: started, finished, and its lots put on hold or released."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.orders.models import Recall
from apiary_sales.orders.services.recalls import NOTES_MAX
from inventory.shared.forms.acts import ActForm


class RecallStartForm(ActForm):
    kind = forms.ChoiceField(
        label=_("Kind"),
        choices=[
            (Recall.Kind.MOCK, _("Mock recall: an exercise")),
            (Recall.Kind.REAL, _("Real recall: goods must come back")),
        ],
        initial=Recall.Kind.MOCK,
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label=_("Reason"),
        max_length=300,
        help_text=_("For example: yearly exercise, or what is wrong with the honey."),
    )


class RecallFinishForm(ActForm):
    notes = forms.CharField(
        label=_("What was checked"),
        max_length=NOTES_MAX,
        help_text=_("For example: which shelves were counted, who was called, what was missing."),
        widget=forms.Textarea(attrs={"rows": 6}),
    )
    lots_are_settled = forms.BooleanField(
        label=_("What is in the house and not on hold may be sold"), required=False
    )

    def __init__(self, *args: Any, is_real: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not is_real:
            del self.fields["lots_are_settled"]


class RecallHoldForm(ActForm):
    reason = forms.CharField(
        label=_("Why they go on hold"),
        max_length=300,
        help_text=_("It is shown to everybody who tries to sell, bottle or mix them."),
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class RecallReleaseForm(ActForm):
    reason = forms.CharField(
        label=_("Why they may be sold"),
        max_length=300,
        help_text=_("For example: the laboratory found nothing."),
        widget=forms.Textarea(attrs={"rows": 3}),
    )
