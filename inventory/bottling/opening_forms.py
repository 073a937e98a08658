"""The form of jars with which the books begin."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.bottling.forms_of_honey import stores
from inventory.bottling.models import Product
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, MoneyField, WholeNumberField
from inventory.stock import lot_codes


class OpeningJarsForm(ActForm):
    """Jars that were filled before the books began."""

    fields_of_parameters = {"cost_cents": "cost"}

    product = forms.ModelChoiceField(
        label=_("Honey"), queryset=Product.objects.of_honey().filter(is_active=True)
    )
    pieces = WholeNumberField(label=_("Pieces"))
    place = forms.ModelChoiceField(label=_("Put on"), queryset=stores(), empty_label=None)
    lot_code = forms.CharField(
        label=_("Lot code on the jars"),
        max_length=lot_codes.CODE_LENGTH_MAX,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    floral_source = forms.CharField(
        label=_("Floral source"),
        max_length=120,
        help_text=_("For example clover, or wildflower."),
        error_messages={"required": _("Enter the floral source, for example clover.")},
    )
    season = WholeNumberField(label=_("Season"))
    bottled_on = DayField(label=_("Filled on"))
    best_by = DayField(label=_("Best by"), required=False)
    cost = MoneyField(
        label=_("What it cost"),
        required=False,
        help_text=_("The cost of all of it together. You can leave it empty."),
    )
    begins_on = DayField(label=_("Day on which your books begin here"), initial=timezone.localdate)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["season"].initial = str(timezone.localdate().year)
