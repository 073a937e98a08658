"""What was corrected: entries by postings of the difference, lots with what they were before."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from inventory.shared import words
from inventory.stock.models import Lot, LotCorrection, Posting, PostingLine

PARENTS = "parents"
COSTS = ("cost_cents",)


@dataclass(frozen=True)
class CorrectedFigure:
    """One figure of a lot, before and after, in words; `is_cost` is for those who see costs."""

    name: str
    before: str
    after: str
    is_cost: bool


@dataclass(frozen=True)
class LotCorrectionRow:
    """What one person put right of a lot at one moment; `posting` is the entry that moved stock."""

    at: datetime
    who: str
    reason: str
    posting: int | None
    figures: list[CorrectedFigure]


def of_lot(lot: Lot) -> list[LotCorrectionRow]:
    """Return what was corrected of a lot, the latest first."""
    found = LotCorrection.objects.filter(lot=lot).select_related("corrected_by").order_by("-id")
    return [
        LotCorrectionRow(
            at=correction.corrected_at,
            who=correction.corrected_by.display_name,
            reason=correction.reason,
            posting=correction.posting_id,
            figures=[
                CorrectedFigure(
                    name=_name(field),
                    before=_in_words(lot, field, correction.before.get(field)),
                    after=_in_words(lot, field, correction.after.get(field)),
                    is_cost=field in COSTS,
                )
                for field in dict.fromkeys([*correction.before, *correction.after])
            ],
        )
        for correction in found
    ]


def standing(posting: Posting) -> list[Posting]:
    """Return the corrections of an entry that were not undone, oldest first.

    They are fetched along with the entry, with their lines.
    """
    found = [each for each in posting.corrections.all() if not hasattr(each, "reversed_by")]
    return sorted(found, key=lambda each: each.pk)


def lines_now(posting: Posting) -> list[PostingLine]:
    """Return the lines of an entry as they count now: its own and its corrections' added up.

    The lines are not those of the database, and what comes to zero is left out.
    """
    sums: dict[tuple[int, int, int | None], PostingLine] = {}
    for each in (posting, *standing(posting)):
        for line in each.lines.all():
            key = (line.item_id, line.place_id, line.lot_id)
            if key not in sums:
                sums[key] = PostingLine(
                    posting=posting, item=line.item, place=line.place, lot=line.lot, quantity=0
                )
            sums[key].quantity += line.quantity
    return [line for line in sums.values() if line.quantity]


def _name(field: str) -> str:
    if field == PARENTS:
        return _("Made of")
    if field == "quantity_made":
        return _("Made")
    names = {each.name: str(each.verbose_name) for each in Lot._meta.fields}
    return capfirst(names.get(field, field.replace("_", " ")))


def _in_words(lot: Lot, field: str, value: Any) -> str:
    """Say a figure as a page does; what is not known is a dash."""
    if value in (None, "", "None", [], {}):
        return "–"
    if field == PARENTS:
        return "; ".join(f"{code}: {words.weight(grams, 1)}" for code, grams in _parents(value))
    if field == "quantity_made":
        made = int(value)
        return lot.product.item.in_words(made, 1) if lot.product else words.weight(made, 1)
    if field in COSTS:
        return words.money(int(value))
    if field.endswith("_percent"):
        return f"{words.number(Decimal(value))} %"
    if field.endswith("_on"):
        return date_format(date.fromisoformat(value))
    return str(value)


def _parents(value: Any) -> Iterable[tuple[str, int]]:
    pairs = value.items() if isinstance(value, Mapping) else value
    return [(str(code), int(grams)) for code, grams in pairs]
