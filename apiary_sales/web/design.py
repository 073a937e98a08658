"""The design page: every component in every state, with invented figures, for who builds pages."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from apiary_sales.reports import charts
from inventory.physics.grading import COLOUR_CLASSES
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import (
    DayField,
    MoneyField,
    NumberField,
    WeightField,
    WholeNumberField,
)

# All that `_icon.html` draws.
ICONS = (
    *("today", "honey", "bottling", "jar", "selling", "order", "money", "stand", "drum", "dip"),
    *("settings", "help", "account", "caution", "people", "search", "plus", "print", "download"),
    "list",
)


@dataclass(frozen=True)
class SampleJar:
    """A jar as the wall of jars draws it."""

    label: str
    pieces: int
    fraction: Decimal
    state: str
    url: str = ""


class DesignForm(HouseForm):
    """A field of each kind."""

    words = forms.CharField(label=_("Name"), max_length=40)
    number = NumberField(label=_("Moisture, percent"), max_digits=5, decimal_places=2)
    count = WholeNumberField(label=_("Pieces"), min_value=0)
    weight = WeightField(label=_("Weight"))
    amount = MoneyField(label=_("Price"))
    day = DayField(label=_("Day"))
    choice = forms.ChoiceField(
        label=_("Kind"), choices=[("tank", _("tank")), ("drum", _("drum")), ("pail", _("pail"))]
    )
    ways = forms.ChoiceField(
        label=_("How it was measured"),
        choices=[("scale", _("scale")), ("dip", _("dip stick"))],
        widget=forms.RadioSelect,
    )
    box = forms.BooleanField(label=_("In use"), required=False)
    note = forms.CharField(
        label=_("Note"), required=False, widget=forms.Textarea, help_text=_("Seen on the papers.")
    )


def _series(name: Any, *values: int) -> charts.Series:
    return charts.Series(name=name, values=values, words=tuple(f"{each:,}" for each in values))


@require_safe
@permission_required("accounts.manage_people", raise_exception=True)
def design(request: HttpRequest) -> HttpResponse:
    """Show the components; nothing on the page can be sent."""
    wrong = DesignForm({"number": "many", "weight_0": "heavy"}, prefix="wrong")
    wrong.is_valid()
    context: dict[str, Any] = {
        "form": DesignForm(initial={"words": "Holding tank", "choice": "tank", "ways": "dip"}),
        "wrong": wrong,
        "icons": ICONS,
        "colours": COLOUR_CLASSES,
        "levels": [
            (_("empty"), Decimal(0)),
            (_("a third"), Decimal("0.35")),
            (_("full"), Decimal(1)),
        ],
        "tags": ["", "good", "warn", "bad", "info"],
        "messages_shown": ["success", "info", "warning", "error"],
        "cautions": ["infants", "drums", "hot", "scales", "labels", "tax", "ferment"],
        "jars": [
            SampleJar("Half pound", 0, Decimal(0), "out"),
            SampleJar("One pound", 14, Decimal("0.2"), "low"),
            SampleJar("Quart (3 lb)", 286, Decimal(1), ""),
        ],
        "middle_page": Paginator(range(500), 50).page(5),
        "seven_digits": 123_456_789,
        "many_grams": 1_234_567_890,
        "bars": charts.bars(
            str(_("Sold by product")),
            ["One pound", "Half pound", "Quart (3 lb)"],
            [
                _series(_("this season"), 4200, 1800, 950),
                _series(_("last season"), 3900, 2100, 700),
            ],
        ),
    }
    return render(request, "web/design.html", context)
