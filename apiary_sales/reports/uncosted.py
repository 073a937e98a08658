"""What a report of margins says of sales without a cost, and where they are line by line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from django.urls import reverse

from apiary_sales.reports.forms import SalesForm
from apiary_sales.reports.frames import sales
from apiary_sales.reports.frames.uncosted import FIGURES, figures_of, uncosted_sentence

if TYPE_CHECKING:
    from apiary_sales.reports.report import FilteredReport

MARGINS = ("margin_cents", "remains_cents")


@dataclass(frozen=True)
class Uncosted:
    """How much has no cost, in a sentence, and the address of the lines."""

    sentence: str
    url: str


def of(made: FilteredReport) -> Uncosted | None:
    """Return what a report says of sales without a cost; None where it shows no margin."""
    shown = {column.name for column in made.columns} | {getattr(made.asked, "measure", "")}
    if not shown.intersection(MARGINS) or getattr(made.asked, "cost", "") == sales.NONE:
        return None
    if made.listing is None:
        figures = figures_of(made.frame)
    else:
        figures = tuple(made.sum_of(name) or 0 for name in FIGURES)
    sentence = uncosted_sentence(*figures)
    return Uncosted(sentence, _lines_url(made.in_address)) if sentence else None


def _lines_url(in_address: dict[str, str]) -> str:
    asked = in_address | {"cost": sales.NONE}
    known = {name: value for name, value in asked.items() if name in SalesForm.base_fields}
    return f"{reverse('reports:report', args=['sale-lines'])}?{urlencode(known)}"
