"""What the stock on hand is worth, and which of it does not move."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import astuple, dataclass
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from django.db.models import Max, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.queries import stock_value
from apiary_sales.reports.frames.make import TEXT, WHOLE, frame_of
from inventory.bottling.models import PackagingPart
from inventory.bottling.part_costs import part_book
from inventory.bottling.queries import packed_costs
from inventory.physics import units
from inventory.shared import days
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine

if TYPE_CHECKING:
    import pandas as pd

DAYS = 60
# A question names so many lots at most.
LOTS_AT_ONCE = 5000
# What takes of a lot to sell it or to make something of it.
USING_LOTS = (
    Posting.Kind.SALE,
    Posting.Kind.BOTTLING,
    Posting.Kind.LABELLING,
    Posting.Kind.EMPTYING,
    Posting.Kind.BOXING,
    Posting.Kind.GOODS_MADE,
)
KINDS = (Item.Kind.HONEY, Item.Kind.PACKED, Item.Kind.GOODS, Item.Kind.PART)

VALUE = {
    "kind": TEXT,
    "key": TEXT,
    "name": TEXT,
    "what": TEXT,
    "season": WHOLE,
    "pieces": WHOLE,
    "grams": WHOLE,
    "goods_grams": WHOLE,
    "value_cents": WHOLE,
}
# Where honey, jars, goods and parts go that are neither sold nor used for others.
REASONS = (
    Place.Kind.SKIMMINGS,
    Place.Kind.SPILLED,
    Place.Kind.SPOILED,
    Place.Kind.BROKEN,
    Place.Kind.SAMPLED,
    Place.Kind.FED_TO_BEES,
    Place.Kind.OWN_USE,
    Place.Kind.GIVEN_AWAY,
    Place.Kind.COUNT_DIFFERENCE,
    Place.Kind.SCALE_DIFFERENCE,
)

GONE = {"reason": TEXT, **VALUE}
SLOW = {
    "kind": TEXT,
    "key": TEXT,
    "name": TEXT,
    "what": TEXT,
    "season": WHOLE,
    "made_on": TEXT,
    "left_on": TEXT,
    "idle_days": WHOLE,
    "best_by": TEXT,
    "pieces": WHOLE,
    "grams": WHOLE,
    "goods_grams": WHOLE,
    "value_cents": WHOLE,
}


@dataclass(frozen=True)
class StockFilters:
    """Which stock counts: one kind or all, of one season or all, as of the end of a day or now."""

    on: date | None = None
    known_on: date | None = None
    kind: str = ""
    season: str = ""
    days: int = DAYS


@dataclass(frozen=True)
class GoneFilters:
    """Which write-offs and count differences: those of some days, and honey of one season."""

    since: date | None = None
    until: date | None = None
    reason: str = ""
    season: str = ""


@dataclass(frozen=True)
class _StockRow:
    """All there is of a lot or a part: the columns of `VALUE`.

    `goods_grams` are those of other goods by weight, apart from honey.
    """

    kind: str
    key: str
    name: str
    what: str
    season: int | None
    pieces: int | None
    grams: int | None
    goods_grams: int | None
    value_cents: int | None


def value(filters: StockFilters) -> pd.DataFrame:
    """Return one row for each lot and part that is there: honey, jars, other goods, parts.

    What belongs to other beekeepers is not stock of the house, and is left out, as is what came
    back and waits for a decision.

    A lot is worth its share of what the lot cost, jars the average of their product where the house
    has chosen that, a part the average of its receipts; all as they are known today, whatever day
    is looked at, or as they were `known_on` a day. A closed day is as it was closed. What came in
    may be dated later than what had left by then: such a lot or part has a row below zero, so that
    the sums hold.
    """
    if filters.on is None and filters.known_on is None:
        lots, pieces = _there_now(filters.kind)
        rows = [row for _lot, row in _lot_rows(lots, _costs_of(lots, filters.season))]
        # Parts are of no season.
        rows += [] if filters.season else _part_rows(pieces, _parts_of(pieces))
    else:
        rows = _rows_as_of(filters)
    return frame_of((astuple(row) for row in rows), VALUE)


def _rows_as_of(filters: StockFilters) -> list[_StockRow]:
    """Return the rows of a day: as it was closed, or with the costs that are or were known."""
    found = stock_value.as_of(
        filters.on or timezone.localdate(),
        days.end(filters.known_on) if filters.known_on else None,
    )
    kinds = (filters.kind,) if filters.kind else KINDS
    worth = [row for row in found if row.kind in kinds]
    by_lot = {row.lot: row for row in worth if row.lot is not None}
    rows = [
        _lot_row(lot, by_lot[lot.pk].quantity, by_lot[lot.pk].cents)
        for lot in sorted(_lots_of(by_lot, filters.season), key=_honey_then_jars)
    ]
    if not filters.season:
        by_item = {row.item: row for row in worth if row.lot is None}
        rows += [
            _part_row(part, by_item[part.item_id].quantity, by_item[part.item_id].cents)
            for part in PackagingPart.objects.filter(item__in=by_item)
        ]
    return rows


def below_nothing(found: pd.DataFrame) -> list[str]:
    """Return the names of the lots and parts with a negative quantity in a frame of `value`."""
    left = found["pieces"].fillna(found["grams"]).fillna(found["goods_grams"])
    return found.loc[left < 0, "name"].tolist()


def slow(filters: StockFilters) -> pd.DataFrame:
    """Return the lots on hand of which none was sold or used for `days`, the idlest first.

    A lot of which none left yet has been idle since the day it was made.
    """
    today = timezone.localdate()
    there = _there_now(filters.kind)[0]
    lots = _lot_rows(there, _costs_of(there, filters.season))
    left = _last_left(lot for lot, _row in lots)
    rows = []
    for lot, row in lots:
        left_on = left.get(lot.pk)
        idle_days = (today - (left_on or lot.made_on)).days
        if idle_days >= filters.days:
            rows.append(
                (
                    row.kind,
                    row.key,
                    row.name,
                    row.what,
                    row.season,
                    lot.made_on,
                    left_on,
                    idle_days,
                    lot.best_by,
                    row.pieces,
                    row.grams,
                    row.goods_grams,
                    row.value_cents,
                )
            )
    found = frame_of(rows, SLOW)
    return found.sort_values("idle_days", ascending=False, kind="stable", ignore_index=True)


def gone(filters: GoneFilters) -> pd.DataFrame:
    """Return one row for each reason and each lot or part that is gone for it.

    What counts found beyond the books is below zero. What was undone, and what belonged to other
    beekeepers, is left out.
    """
    found = _gone_by_reason(filters)
    # A lot may be gone for several reasons: what it costs is read once.
    costs = _costs_of({lot for lots, _parts in found.values() for lot in lots}, filters.season)
    of_parts = {item for _lots, parts in found.values() for item in parts}
    there = {} if filters.season else _parts_of(of_parts)
    rows = []
    for reason, (lots, parts) in found.items():
        rows += [(reason, *astuple(row)) for _lot, row in _lot_rows(lots, costs)]
        rows += [(reason, *astuple(row)) for row in _part_rows(parts, there)]
    return frame_of(rows, GONE)


def _gone_by_reason(
    filters: GoneFilters,
) -> dict[str, tuple[dict[int, list[int]], dict[int, int]]]:
    """Return what is gone for each reason: how much of each lot, and of each part's item."""
    reasons = [reason for reason in REASONS if filters.reason in ("", reason)]
    lines = PostingLine.objects.standing().filter(place__kind__in=reasons, lot__owner=None)
    lines = lines.filter(**days.lookups("posting__occurred_at", filters.since, filters.until))
    found: dict[str, tuple[dict[int, list[int]], dict[int, int]]] = {
        str(reason): ({}, {}) for reason in reasons
    }
    for reason, item, lot, quantity in (
        lines.values("place__kind", "item", "lot")
        .annotate(total=Sum("quantity"))
        .exclude(total=0)
        .order_by()
        .values_list("place__kind", "item", "lot", "total")
    ):
        lots, parts = found[reason]
        if lot is None:
            parts[item] = quantity
        else:
            lots[lot] = [quantity]
    return found


def _there_now(kind: str) -> tuple[dict[int, list[int]], dict[int, int]]:
    """Return by lot how much is at each place, and by item how many parts there are."""
    # What came back and waits for a decision is no stock yet, as on the pages of stock.
    there = (
        Balance.objects.filter(is_physical=True, quantity__gt=0)
        .exclude(place__kind=Place.Kind.RETURNED)
        .ours()
        .filter(item__kind__in=(kind,) if kind else KINDS)
    )
    lots: dict[int, list[int]] = {}
    pieces: dict[int, int] = {}
    for item, lot, quantity in there.values_list("item", "lot", "quantity"):
        if lot is not None:
            lots.setdefault(lot, []).append(quantity)
        else:
            pieces[item] = pieces.get(item, 0) + quantity
    return lots, pieces


def _costs_of(keys: Iterable[int], season: str) -> dict[Lot, Fraction | None]:
    """Return what one of each lot costs now, of the lots of a season or of all."""
    return packed_costs.unit_costs_cents(_lots_of(keys, season))


def _lot_rows(
    there: dict[int, list[int]], costs: Mapping[Lot, Fraction | None]
) -> list[tuple[Lot, _StockRow]]:
    """Return a row for each lot that is there and has a cost or none."""
    rows = [
        (lot, _lot_row(lot, sum(there[lot.pk]), _value_cents(unit_cost_cents, there[lot.pk])))
        for lot, unit_cost_cents in costs.items()
        if lot.pk in there
    ]
    return sorted(rows, key=lambda row: _honey_then_jars(row[0]))


def _lots_of(keys: Iterable[int], season: str) -> list[Lot]:
    lots = Lot.objects.select_related("product__size", "product__item")
    if season:
        # Other goods are of no season, as parts are.
        lots = lots.filter(season=int(season)).exclude(kind=Lot.Kind.GOODS)
    wanted = sorted(keys)
    return [
        lot
        for first in range(0, len(wanted), LOTS_AT_ONCE)
        for lot in lots.filter(pk__in=wanted[first : first + LOTS_AT_ONCE])
    ]


def _lot_row(lot: Lot, quantity: int, value_cents: int | None) -> _StockRow:
    """Return the row of so many grams of honey or comb, or so much of what has a product."""
    product = lot.product
    season: int | None = lot.season
    pieces: int | None = quantity
    grams: int | None = None
    goods_grams: int | None = None
    if product is None:
        kind, what, pieces, grams = Item.Kind.HONEY, lot.floral_source, None, quantity
    elif product.is_honey:
        kind, what = Item.Kind.PACKED, f"{product.name}, {lot.floral_source}"
        grams = units.round_grams(product.declared_grams * quantity)
        if product.is_bulk_comb:
            pieces, grams = None, quantity
    else:
        kind, what, season = Item.Kind.GOODS, product.name, None
        if product.item.is_weighed:
            pieces, goods_grams = None, quantity
    return _StockRow(
        kind, lot.code, lot.code, what, season, pieces, grams, goods_grams, value_cents
    )


def _honey_then_jars(lot: Lot) -> tuple[Any, ...]:
    product = lot.product
    if product is None:
        return 0, lot.made_on, lot.pk
    if product.size is None:
        return 2, product.name, lot.made_on, lot.pk
    return 1, product.size.brimful_ml, product.name, lot.made_on, lot.pk


def _value_cents(unit_cost_cents: Fraction | None, there: list[int]) -> int | None:
    """Add up what a lot is worth at each place, as the pages of stock show it."""
    if unit_cost_cents is None:
        return None
    return sum(round(unit_cost_cents * quantity) for quantity in there)


def _parts_of(items: Iterable[int]) -> dict[PackagingPart, Fraction | None]:
    """Return the parts that are these items, with what one costs now."""
    book = part_book()
    costs = book.unit_cents
    return {part: costs.get(part.pk) for part in PackagingPart.objects.filter(item__in=list(items))}


def _part_rows(
    there: dict[int, int], costs: Mapping[PackagingPart, Fraction | None]
) -> list[_StockRow]:
    return [
        _part_row(
            part, there[part.item_id], None if cost is None else round(cost * there[part.item_id])
        )
        for part, cost in costs.items()
        if part.item_id in there
    ]


def _part_row(part: PackagingPart, pieces: int, value_cents: int | None) -> _StockRow:
    what = _("Parts: %(kind)s") % {"kind": part.get_kind_display()}
    return _StockRow(
        Item.Kind.PART, part.code, part.name, what, None, pieces, None, None, value_cents
    )


def _last_left(lots: Iterable[Lot]) -> dict[int, date]:
    """Return the last day on which some of each lot was sold or used, undone postings aside."""
    return {
        lot: timezone.localdate(moment)
        for lot, moment in PostingLine.objects.filter(
            lot__in=list(lots),
            quantity__lt=0,
            place__kind__in=[*Place.VESSELS, *Place.FOR_GOODS],
            posting__kind__in=USING_LOTS,
            posting__reversed_by__reverses=None,
        )
        .order_by()
        .values_list("lot")
        .annotate(Max("posting__occurred_at"))
    }
