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
        # A code is that of one lot of honey in bulk; comb says its product too.
        product = self.data.get("product", "").strip() or Lot.BULK
        for lot in self.book.origins:
            if (lot.code, lot.what) == (code, product):
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
    """The harvest and the form of the honey in one band."""

    form = forms.ChoiceField(
        label=gettext_lazy("In bulk, or in jars"),
        required=False,
        choices=[("", gettext_lazy("all")), *Form.choices],
    )

    def ends(self, band: Band | Source) -> list[Leaf | Source]:
        """Return the ends that are asked for of a band, or of what came in."""
        if isinstance(band, Source):
            return [band]
        return [Leaf(each, band) for each in Form if self.cleaned_data["form"] in ("", each)]
