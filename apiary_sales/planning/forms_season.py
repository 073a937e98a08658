"""What the owner expects of the season, as one form."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any, ClassVar

from django import forms
from django.forms.boundfield import BoundField
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from apiary_sales.planning.models import SeasonOutlook
from apiary_sales.planning.rules.demand import Outlook
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import NumberField, WeightField, WholeNumberField
from inventory.shared.weights import by_unit
from inventory.stock.forms.fields import as_weight

MONTHS = range(1, 13)
WEIGHTS = ("drum_month", "drum_year", "harvest", "harvest_spread", "room")


def month_choices() -> list[tuple[str, str]]:
    """Return the months of the year by name, after an empty choice."""
    named = [(str(month), date_format(date(2000, month, 1), "F")) for month in MONTHS]
    return [("", "–"), *named]


class SeasonOutlookForm(ActForm):
    """Every figure that only the owner knows; an empty one is taken from the books or not known."""

    fields_of_parameters: ClassVar[Mapping[str, str]] = {f"{name}_grams": name for name in WEIGHTS}

    outlook = forms.ChoiceField(label=_("How to use past sales"), choices=Outlook.choices)
    kept_per_pound = NumberField(
        label=by_unit(_("What honey kept beyond the plan brings, a {unit}")),
        required=False,
        min_value=0,
        max_digits=9,
        decimal_places=4,
        help_text=_("If empty, today's drum price."),
    )
    storage_per_pound = NumberField(
        label=by_unit(_("Cost of keeping a {unit} for a month")),
        required=False,
        min_value=0,
        max_digits=9,
        decimal_places=4,
        help_text=_("If empty, it counts as zero."),
    )
    interest_percent = NumberField(
        label=_("Interest a year, percent"),
        required=False,
        min_value=0,
        max_value=100,
        max_digits=5,
        decimal_places=2,
        help_text=_("If empty, it counts as zero."),
    )
    drum_month = WeightField(
        label=_("Most that drum buyers take in a month"),
        required=False,
        help_text=_("If empty, a month has no limit of its own."),
    )
    drum_year = WeightField(
        label=_("Most that drum buyers take in the next twelve months"),
        required=False,
        help_text=_("If both are empty, the most that was ever sold in twelve months."),
    )
    harvest = WeightField(
        label=_("Expected next harvest"),
        required=False,
        help_text=_("If empty, the average of past harvests."),
    )
    harvest_spread = WeightField(
        label=_("By how much harvests differ (standard deviation)"),
        required=False,
        help_text=_("If empty, from past harvests: about two of three are nearer than this."),
    )
    harvest_month = forms.TypedChoiceField(
        label=_("Month in which the harvest begins"),
        choices=month_choices,
        coerce=int,
        empty_value=None,
        required=False,
    )
    room = WeightField(
        label=_("Room for honey in bulk"),
        required=False,
        help_text=_("If empty, the capacity of all vessels that are in the house."),
    )
    hours = NumberField(
        label=_("Hours for bottling in a month"),
        required=False,
        min_value=0,
        max_digits=7,
        decimal_places=2,
        help_text=_("If empty, hours do not limit the plan."),
    )

    version = WholeNumberField(required=False, min_value=0, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for month in MONTHS:
            self.fields[f"hours_{month}"] = NumberField(
                label=date_format(date(2000, month, 1), "F"),
                required=False,
                min_value=0,
                max_digits=7,
                decimal_places=2,
            )

    @staticmethod
    def initial_of(outlook: SeasonOutlook) -> dict[str, Any]:
        """Return the figures that are kept, as a person types them."""
        names = ("outlook", "kept_per_pound", "storage_per_pound", "interest_percent")
        found: dict[str, Any] = {name: getattr(outlook, name) for name in names}
        found |= {"harvest_month": outlook.harvest_month, "hours": outlook.hours}
        found["version"] = outlook.version
        for name in WEIGHTS:
            grams = getattr(outlook, f"{name}_grams")
            if grams is not None:
                found[name] = as_weight(grams)
        for month, hours in outlook.hours_by_month.items():
            found[f"hours_{month}"] = Decimal(hours)
        return found

    @property
    def month_fields(self) -> list[BoundField]:
        return [self[f"hours_{month}"] for month in MONTHS]

    def figures(self) -> dict[str, Any]:
        """Return the figures of a valid form, by the parameters of the service."""
        data = self.cleaned_data
        names = ("outlook", "kept_per_pound", "storage_per_pound", "interest_percent")
        return {
            **{name: data[name] for name in (*names, "harvest_month", "hours", "version")},
            **{f"{name}_grams": data[name] for name in WEIGHTS},
            "hours_by_month": {
                month: data[f"hours_{month}"]
                for month in MONTHS
                if data[f"hours_{month}"] is not None
            },
        }
