"""What was corrected of runs, and of parts and goods that came in: both states, in words."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

from django.db.models import QuerySet
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from inventory.bottling.models import (
    BottlingRun,
    PackagingPart,
    Product,
    ReceiptCorrection,
    RunCorrection,
)
from inventory.shared import words
from inventory.stock.models import Item
from inventory.stock.queries.corrections import CorrectedFigure, LotCorrectionRow

# What only those see who see costs.
PARTS = "parts"
COSTS = ("honey_cents", "parts_cents", "labour_cents", "cost_cents")


def of_run(run: BottlingRun) -> list[LotCorrectionRow]:
    """Return what was corrected of a run, the latest first."""
    found = run.corrections.select_related("corrected_by").order_by("-id")
    return [_with_parts(_row(each, _run_figure), each) for each in found]


def _with_parts(row: LotCorrectionRow, correction: RunCorrection) -> LotCorrectionRow:
    """Return the row with each part of which another number was used."""
    before, after = (
        dict(state.get(PARTS) or []) for state in (correction.before, correction.after)
    )
    parts = [
        CorrectedFigure(
            name, words.pieces(before.get(name, 0)), words.pieces(after.get(name, 0)), is_cost=False
        )
        for name in sorted(before | after)
        if before.get(name, 0) != after.get(name, 0)
    ]
    return replace(row, figures=row.figures + parts)


def of_part(part: PackagingPart) -> list[LotCorrectionRow]:
    """Return what was corrected of the deliveries of a part, the latest first."""
    return _of_deliveries(part.item, ReceiptCorrection.objects.filter(part_receipt__part=part))


def of_goods(product: Product) -> list[LotCorrectionRow]:
    """Return what was corrected of the deliveries of some goods, the latest first."""
    found = ReceiptCorrection.objects.filter(goods_receipt__product=product)
    return _of_deliveries(product.item, found)


def _of_deliveries(item: Item, found: QuerySet[ReceiptCorrection]) -> list[LotCorrectionRow]:
    def in_words(name: str, value: Any) -> tuple[str, str]:
        return _receipt_figure(item, name, value)

    return [_row(each, in_words) for each in found.select_related("corrected_by").order_by("-id")]


def _row(
    correction: RunCorrection | ReceiptCorrection,
    in_words: Callable[[str, Any], tuple[str, str]],
) -> LotCorrectionRow:
    figures = []
    for field in correction.after:
        if field == PARTS:
            continue
        name, before = in_words(field, correction.before.get(field))
        figures.append(
            CorrectedFigure(
                name, before, in_words(field, correction.after[field])[1], field in COSTS
            )
        )
    return LotCorrectionRow(
        at=correction.corrected_at,
        who=correction.corrected_by.display_name,
        reason=correction.reason,
        posting=correction.posting_id,
        figures=figures,
    )


def _run_figure(field: str, value: Any) -> tuple[str, str]:
    """Return the name of a figure of a run, and the figure in words."""
    names = {
        "honey_cents": _("Cost of the honey"),
        "parts_cents": _("Cost of the parts"),
        "labour_cents": _("Cost of labour"),
        "added_grams": _("Seed or comb"),
        "bottled_on": _("Day of the run"),
    }
    names |= {
        each.name: capfirst(str(each.verbose_name))
        for each in BottlingRun._meta.fields
        if each.name not in names
    }
    if field == "drawn_by" and value:
        return names[field], str(BottlingRun.DrawnBy(value).label)
    return names[field], _figure(field, value)


def _receipt_figure(item: Item, field: str, value: Any) -> tuple[str, str]:
    names = {
        "quantity": _("How much"),
        "cost_cents": _("Total cost"),
        "supplier": _("Supplier"),
        "received_on": _("Day"),
    }
    if field == "quantity":
        return names[field], item.in_words(value)
    return names[field], _figure(field, value)


def _figure(field: str, value: Any) -> str:
    if value in (None, ""):
        return "–"
    if field.endswith("_cents"):
        return words.money(value)
    if field.endswith("_grams"):
        return words.weight(value, 1)
    if field.endswith("_on"):
        return date_format(date.fromisoformat(value))
    return words.number(value) if isinstance(value, int) else str(value)
