"""The form of the page on when to stop bottling; every field has a usual value."""

from collections.abc import Mapping

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.planning.forms import MONTHS, MONTHS_USUAL, hours_field
from apiary_sales.planning.rules.earnings import Measure
from apiary_sales.planning.rules.figures import HOURS
from apiary_sales.pricing.forms.prices import PerPoundField
from inventory.shared import conventions
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import WeightField
from inventory.shared.weights import by_unit


class EarningsForm(HouseForm):
    """For how long, with how many hours, and what replaces the figures of the books."""

    months = forms.TypedChoiceField(label=_("Jars to be sold in"), choices=MONTHS, coerce=int)
    hours = hours_field()
    parts = forms.ChoiceField(
        label=_("Parts"),
        choices=[
            ("stock", _("only those in stock")),
            ("bought", _("missing parts are bought")),
        ],
    )
    drum_price = PerPoundField(
        label=by_unit(_("Drum price per {unit}")),
        required=False,
        help_text=_("If the field is empty, the bid for each honey is used."),
    )
    expected = WeightField(
        label=_("Honey expected to come in"),
        required=False,
        help_text=_("If the field is empty, the average of earlier years is used."),
    )

    @classmethod
    def asked(cls, typed: Mapping[str, str]) -> "EarningsForm":
        """Return the form with what was typed, and the usual figures for the rest."""
        usual = {
            "months": MONTHS_USUAL,
            "hours": HOURS,
            "parts": "stock",
            "expected_unit": conventions.current().weight_unit,
        }
        return cls({**usual, **typed})


def sort_of(typed: Mapping[str, str]) -> Measure | None:
    """Return by what the tables are to be sorted; None where nobody said so."""
    asked = typed.get("by", "")
    return Measure(asked) if asked in Measure.values else None
