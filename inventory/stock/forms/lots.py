"""What the list of lots is narrowed to."""

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import HouseForm
from inventory.stock.queries import honey


class LotFilterForm(HouseForm):
    """What the list of lots is narrowed to."""

    words = forms.CharField(label=_("Code, flower or yard"), required=False, widget=forms.TextInput)
    season = forms.TypedChoiceField(label=_("Season"), required=False, coerce=int, empty_value=None)
    in_hand = forms.BooleanField(label=_("Only what is in hand"), required=False)

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["season"].choices = [
            ("", _("all")),
            *((year, str(year)) for year in honey.seasons()),
        ]
