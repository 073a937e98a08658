"""What to try out when drum and jar are compared; everything may be left as it is."""

from decimal import Decimal
from typing import cast

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.pricing.forms.prices import PerPoundField
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.pricing.rules.costs import TIER_OF_CHANNEL, Book, WhatIf
from inventory.shared import words
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import MoneyField, NumberField, as_typed
from inventory.shared.weights import by_unit

MOISTURE_LIMITS = _("Enter a moisture from 10 to 30 percent.")


class WhatIfForm(HouseForm):
    """Which honey, and which figures to try in place of those that are kept."""

    lot = forms.ChoiceField(label=_("Honey"), required=False)
    moisture = NumberField(
        label=_("Moisture, percent"),
        required=False,
        max_digits=4,
        decimal_places=2,
        min_value=10,
        max_value=30,
        error_messages={"min_value": MOISTURE_LIMITS, "max_value": MOISTURE_LIMITS},
    )
    drum_price = PerPoundField(label=by_unit(_("Drum price per {unit}")), required=False)
    labour = MoneyField(label=_("Labour cost per hour"), required=False)
    overfill = NumberField(
        label=_("Over the label weight, percent"),
        required=False,
        max_digits=4,
        decimal_places=2,
        min_value=-10,
        max_value=50,
        error_messages={
            "min_value": _("Enter from -10 to 50 percent."),
            "max_value": _("Enter from -10 to 50 percent."),
        },
    )
    jar_percent = NumberField(
        label=_("All jar prices up or down by, percent"),
        required=False,
        max_digits=5,
        decimal_places=2,
        min_value=-99,
        max_value=400,
        error_messages={
            "min_value": _("Enter from -99 to 400 percent."),
            "max_value": _("Enter from -99 to 400 percent."),
        },
    )
    jar = forms.ChoiceField(label=_("One jar"), required=False)
    jar_price = MoneyField(label=_("Its price"), required=False)

    def __init__(self, *args, in_hand, book: Book, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        lots = cast(forms.ChoiceField, self.fields["lot"])
        lots.choices = [
            ("", _("any, at the average cost"))
            if not in_hand
            else ("", _("the lot with the most honey")),
            *(
                (
                    lot.code,
                    f"{lot.code}, {lot.floral_source}, {lot.colour_class or _('colour unknown')}, "
                    f"{words.weight(grams)}",
                )
                for lot, grams in in_hand
            ),
        ]
        jars = cast(forms.ChoiceField, self.fields["jar"])
        jars.choices = [
            ("", _("none")),
            *(
                (
                    f"{product.code}:{channel}",
                    f"{product.name}, {ChannelCost.Channel(channel).label}",
                )
                for product in book.products
                for channel in TIER_OF_CHANNEL
                if book.is_sold_in(product, channel)
            ),
        ]
        for field in self.fields.values():
            # Every field may stay empty, and the form says so once for all of them.
            field.is_one_of_several = True  # type: ignore[attr-defined]  # read by templates
        self._ids = {product.code: product.pk for product in book.products}

    def show_kept(self, **figures) -> None:
        """Show, in each empty field, the figure that is kept."""
        for name, figure in figures.items():
            if figure is not None:
                self.fields[name].widget.attrs["placeholder"] = as_typed(figure)

    def figure(self, name: str):
        """Return what was typed in a field, or None when nothing fit was."""
        return getattr(self, "cleaned_data", {}).get(name)

    def what_if(self) -> WhatIf:
        piece_cents = {}
        code, _colon, channel = (self.figure("jar") or "").rpartition(":")
        if code and self.figure("jar_price") is not None:
            piece_cents[(self._ids[code], channel)] = self.figure("jar_price")
        return WhatIf(
            labour_cents_per_hour=self.figure("labour"),
            overfill_percent=self.figure("overfill"),
            jar_percent=self.figure("jar_percent") or Decimal(0),
            piece_cents=piece_cents,
        )
