"""Forms that settle what was taken although the books had none of it."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm
from inventory.stock.forms.fields import note_field
from inventory.stock.models import Lot
from inventory.stock.services.shortages import How


class SettleForm(ActForm):
    """What a person knows of a shortage."""

    how = forms.ChoiceField(label=_("What you know"), choices=How.choices, widget=forms.RadioSelect)
    note = note_field()


class HoneyLotField(forms.ModelChoiceField):
    """A known lot of honey in bulk."""

    def label_from_instance(self, lot: Lot) -> str:
        return f"{lot.code}, {lot.floral_source}"


class LotNameForm(ActForm):
    """Of which lot unknown honey was."""

    lot = HoneyLotField(label=_("Lot"), queryset=Lot.objects.none(), empty_label=_("Choose a lot"))
    note = note_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["lot"]
        assert isinstance(field, HoneyLotField)
        field.queryset = Lot.objects.filter(product=None).exclude(kind=Lot.Kind.UNKNOWN)
