"""Whose honey is asked for on the page "Where every pound went"."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.shared.forms.acts import HouseForm
from inventory.stock.flow import Band, Form, Leaf, Source
from inventory.stock.models import Lot
from inventory.stock.queries.flow import FlowBook, Harvest

OTHERS = "others"


class HarvestForm(HouseForm):
    """A season, one lot, or the honey of other beekeepers; all of the house's where left empty."""

    season = forms.ChoiceField(label=gettext_lazy("Harvest"), required=False)
    lot = forms.CharField(required=False, widget=forms.HiddenInput, max_length=30)
    product = forms.CharField(required=False, widget=forms.HiddenInput, max_length=60)

    def __init__(self, *args: Any, book: FlowBook, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.book = book
        choices: list[tuple[str, Any]] = [("", _("all"))]
        choices += [(str(year), str(year)) for year in book.seasons]
        if book.has_others:
            choices.append((OTHERS, _("Honey of other beekeepers")))
        self.fields["season"].choices = choices  # type: ignore[attr-defined]

    def clean_lot(self) -> Lot | None:
        code = self.cleaned_data["lot"].strip()
        if not code:
            return None
        product = self.data.get("product", "").strip() or None
        for lot in self.book.origins:
            if lot.code == code and product in (None, lot.what):
                return lot
        raise forms.ValidationError(_("No honey came in as lot %(lot)s.") % {"lot": code})

    @property
    def harvest(self) -> Harvest:
        season, lot = self.cleaned_data["season"], self.cleaned_data["lot"]
        if lot is not None:
            return Harvest(lot=lot)
        if season == OTHERS:
            return Harvest(is_of_others=True)
        return Harvest(season=int(season) if season else None)


class BandForm(HarvestForm):
    """One band of a harvest, or one way in which it came in."""

    band = forms.ChoiceField(
        label=gettext_lazy("Where it is, or how it left"),
        choices=[
            (gettext_lazy("Came in"), Source.choices),
            (gettext_lazy("Where it is, or how it left"), Band.choices),
        ],
    )
    form = forms.ChoiceField(
        label=gettext_lazy("In bulk, or in jars"),
        required=False,
        choices=[("", gettext_lazy("all")), *Form.choices],
    )

    @property
    def ends(self) -> list[Leaf | Source]:
        asked, form = self.cleaned_data["band"], self.cleaned_data["form"]
        if asked in Source:
            return [Source(asked)]
        return [Leaf(each, Band(asked)) for each in Form if form in ("", each)]

    @property
    def band_label(self) -> str:
        asked = self.cleaned_data["band"]
        return str(Source(asked).label if asked in Source else Band(asked).label)
