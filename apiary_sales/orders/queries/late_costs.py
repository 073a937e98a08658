"""What was sold without a known cost, line by line with why, and the late costings there were."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, QuerySet, Sum
from django.utils.translation import gettext as _

from apiary_sales.orders.late_cost_models import LateCost, LateCosting
from apiary_sales.orders.late_costs import LineWithoutCost
from inventory.stock.models import Lot, LotParent, ProductionSettings

# What comes into the house has a cost of its own, which a person enters.
ENTERED = (Lot.Kind.EXTRACTION, Lot.Kind.BOUGHT)


@dataclass(frozen=True)
class RowWithoutCost:
    """A line without a cost: what it costs by now or, where that is unknown, why it has none.

    `lot` is the lot whose cost is missing; `is_entered` says that a person enters it.
    """

    line: LineWithoutCost
    why: str = ""
    lot: Lot | None = None

    @property
    def is_entered(self) -> bool:
        return self.lot is not None and self.lot.is_ours and self.lot.kind in ENTERED


def rows(lines: Sequence[LineWithoutCost]) -> list[RowWithoutCost]:
    """Return lines with the reason of those whose cost is still unknown, in three queries."""
    unknown = {line.goods.lot_id for line in lines if line.cost_cents is None} - {None}
    missing = _missing([key for key in unknown if key is not None])
    is_average = ProductionSettings.current().costs_by_average
    return [
        RowWithoutCost(line)
        if line.cost_cents is not None
        else _with_reason(line, missing, is_average=is_average)
        for line in lines
    ]


def costings() -> QuerySet[LateCosting]:
    """Return the late costings, the newest first, with how many lines and cents each has."""
    return (
        LateCosting.objects.filter(undoes=None)
        .select_related("recorded_by", "undone_by__recorded_by")
        .annotate(count=Count("lines"), cents=Sum("lines__cost_cents", default=0))
        .order_by("-id")
    )


def lines_of(costing: LateCosting) -> QuerySet[LateCost]:
    """Return the lines that a costing gave a cost, in the order of hand-over."""
    return costing.lines.select_related(
        "fulfilment_line__fulfilment__order__customer",
        "fulfilment_line__order_line",
        "fulfilment_line__lot__product__item",
    ).order_by("fulfilment_line")


def _with_reason(
    line: LineWithoutCost, missing: dict[int, Lot], *, is_average: bool
) -> RowWithoutCost:
    goods = line.goods
    if goods.order_line.service is not None:
        return RowWithoutCost(line, _("The cost of this service is not entered."))
    lot = missing.get(goods.lot_id) if goods.lot_id else None
    if lot is None:
        if is_average:
            return RowWithoutCost(
                line, _("Jars without a cost were among those on the shelves on that day.")
            )
        return RowWithoutCost(line, _("Its lot is not known."))
    if not lot.is_ours:
        return RowWithoutCost(line, _("Lot %(lot)s belongs to another.") % {"lot": lot.code}, lot)
    if lot.kind in ENTERED:
        told = _("The cost of lot %(lot)s is not entered.")
    elif lot.kind == Lot.Kind.UNKNOWN:
        told = _("Nobody said yet which honey lot %(lot)s was.")
    elif lot.kind == Lot.Kind.PACKED:
        told = _("A part in lot %(lot)s has no price.")
    else:
        told = _("Lot %(lot)s has no cost.")
    return RowWithoutCost(line, told % {"lot": lot.code}, lot)


def _missing(keys: list[int]) -> dict[int, Lot]:
    """Return, by lot without a cost, the first lot that went into it and has none to begin with."""
    if not keys:
        return {}
    sources = Lot.objects.source_keys(keys)
    without = (
        Lot.objects.filter(pk__in=sources, cost_cents=None)
        .select_related("product", "owner")
        .in_bulk()
    )
    parents: dict[int, list[int]] = {}
    links = LotParent.objects.filter(lot__in=without, parent__in=without).order_by("id")
    for lot, parent in links.values_list("lot", "parent"):
        parents.setdefault(lot, []).append(parent)
    found = {}
    for key in keys:
        first = key
        while parents.get(first):
            first = parents[first][0]
        if first in without:
            found[key] = without[first]
    return found
