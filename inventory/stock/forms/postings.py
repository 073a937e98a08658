"""Forms of the book itself: what its list is narrowed to, and why a posting is undone."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.days import DaysForm
from inventory.shared.people import Person
from inventory.stock import seen
from inventory.stock.models import Lot, Place, Posting


class UndoForm(ActForm):
    note = forms.CharField(label=_("Why"), max_length=200, required=False)


class LotCodeField(forms.CharField):
    """A lot code; comes out as all the lots that bear it, None where it is empty."""

    def clean(self, value: Any) -> list[Lot] | None:
        code = super().clean(value)
        if not code:
            return None
        if found := list(Lot.objects.bearing(code)):
            return found
        raise forms.ValidationError(self.error_messages["invalid_choice"], code="invalid_choice")


class PostingFilterForm(DaysForm):
    """What the list of postings is narrowed to."""

    field_order = ["kind", "place", "lot", "first", "last"]

    kind = forms.ChoiceField(
        label=_("Kind"), required=False, choices=[("", _("all")), *Posting.Kind.choices]
    )
    place = forms.ModelChoiceField(
        label=_("Place"),
        required=False,
        queryset=Place.objects.order_by("kind", "code"),
        to_field_name="code",
        empty_label=_("all"),
    )
    lot = LotCodeField(
        label=_("Lot"),
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"invalid_choice": _("There is no lot with this code.")},
    )

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["place"]
        field.queryset = seen.places(person, field.queryset)
