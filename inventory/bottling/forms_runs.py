"""What the list of runs is narrowed to."""

from typing import Any

from django import forms
from django.db.models import Exists, OuterRef
from django.utils.translation import gettext_lazy as _

from inventory.bottling.models import BottlingRun, Product
from inventory.shared.forms.days import DaysForm


class RunFilterForm(DaysForm):
    """Which runs a list shows; what is unreadable is left out."""

    field_order = ["words", "product", "status", "first", "last"]

    words = forms.CharField(label=_("Number or lot"), max_length=60, required=False)
    product = forms.ModelChoiceField(
        label=_("Product"),
        required=False,
        queryset=Product.objects.filter(
            Exists(BottlingRun.objects.filter(product=OuterRef("pk")))
        ).order_by("item__name"),
        to_field_name="code",
        empty_label=_("all"),
    )
    status = forms.ChoiceField(
        label=_("State"), required=False, choices=[("", _("all")), *BottlingRun.Status.choices]
    )

    def asked(self) -> dict[str, Any]:
        """Return what was asked for and can be read."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}
