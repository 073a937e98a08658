"""What the stock on hand is worth, and which of it does not move."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

import pandas as pd
from django.db.models import Max, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.reports.frames.make import TEXT, WHOLE, frame_of
from inventory.bottling.models import PackagingPart, PartReceipt
from inventory.bottling.queries import packed_costs
from inventory.physics import units
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine

DAYS = 60
KINDS = (Item.Kind.HONEY, Item.Kind.PACKED, Item.Kind.PART)

VALUE = {
    "kind": TEXT,
    "key": TEXT,
    "name": TEXT,
    "what": TEXT,
    "season": WHOLE,
    "pieces": WHOLE,
    "grams": WHOLE,
    "value_cents": WHOLE,
}
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
    "value_cents": WHOLE,
}


@dataclass(frozen=True)
class StockFilters:
    """Which stock counts: one kind or all, of one season or all, as of the end of a day or now."""

    on: date | None = None
    kind: str = ""
    season: str = ""
    days: int = DAYS


@dataclass(frozen=True)
class _Held:
    """All there is of a lot or a part, in grams of honey or in pieces."""

    thing: Lot | PackagingPart
    kind: str
    quantity: int
    value_cents: int | None

    @property
    def key(self) -> str:
        return self.thing.code

    @property
    def what(self) -> str:
        if self.kind == Item.Kind.PART:
            return _("Packaging: %(kind)s") % {"kind": self.thing.get_kind_display()}
        if self.kind == Item.Kind.PACKED:
            return f"{self.thing.size.name}, {self.thing.floral_source}"
        return self.thing.floral_source

    @property
    def name(self) -> str:
        return self.thing.name if self.kind == Item.Kind.PART else self.thing.code

    @property
    def season(self) -> int | None:
        return None if self.kind == Item.Kind.PART else self.thing.season

    @property
    def pieces(self) -> int | None:
        return None if self.kind == Item.Kind.HONEY else self.quantity

    @property
    def grams(self) -> int | None:
        if self.kind == Item.Kind.PART:
            return None
        if self.kind == Item.Kind.PACKED:
            return units.round_grams(self.thing.size.declared_grams * self.quantity)
        return self.quantity


def value(filters: StockFilters) -> pd.DataFrame:
    """Return one row for each lot and part that is there: honey, then jars, then parts.

    A lot is worth its share of what the lot cost, jars the average of their size where the house
    has chosen that, a part the average of its receipts; all as they are known today, whatever day
    is looked at. What came in may be dated later than what had left by then: such a lot or part
    has a row below nothing, so that the sums hold.
    """
    return frame_of(
        (
            (
                held.kind,
                held.key,
                held.name,
                held.what,
                held.season,
                held.pieces,
                held.grams,
                held.value_cents,
            )
            for held in _held(filters)
        ),
        VALUE,
    )


def below_nothing(found: pd.DataFrame) -> list[str]:
    """Return the names of the lots and parts of which a frame of `value` has less than none."""
    left = found["pieces"].fillna(found["grams"])
    return found.loc[left < 0, "name"].tolist()


def slow(filters: StockFilters) -> pd.DataFrame:
    """Return the lots on hand of which nothing was sold or bottled for `days`, the idlest first.

    A lot of which nothing left yet has been idle since the day it was made.
    """
    today = timezone.localdate()
    lots = _lots_held(_there(filters)[0], filters.season)
    left = _last_left(held.thing for held in lots)
    rows = []
    for held in lots:
        lot, left_on = held.thing, left.get(held.thing.pk)
        idle_days = (today - (left_on or lot.made_on)).days
        if idle_days >= filters.days:
            rows.append(
                (
                    held.kind,
                    held.key,
                    held.name,
                    held.what,
                    held.season,
                    lot.made_on,
                    left_on,
                    idle_days,
                    lot.best_by,
                    held.pieces,
                    held.grams,
                    held.value_cents,
                )
            )
    found = frame_of(rows, SLOW)
    return found.sort_values("idle_days", ascending=False, kind="stable", ignore_index=True)


def _held(filters: StockFilters) -> list[_Held]:
    """Return the lots that are there, then the parts; parts are of no season."""
    lots, pieces = _there(filters)
    return _lots_held(lots, filters.season) + ([] if filters.season else _parts_held(pieces))


def _there(filters: StockFilters) -> tuple[dict[int, list[int]], dict[int, int]]:
    """Return by lot how much is at each place, and by item how many parts there are.

    What comes to nothing over all places is left out; what is below nothing is not.
    """
    rows = _there_on(filters.on) if filters.on else _there_now()
    kinds = (filters.kind,) if filters.kind else KINDS
    lots: dict[int, list[int]] = {}
    pieces: dict[int, int] = {}
    for kind, item, lot, quantity in rows:
        if kind in kinds and lot is not None:
            lots.setdefault(lot, []).append(quantity)
        elif kind in kinds:
            pieces[item] = pieces.get(item, 0) + quantity
    return (
        {lot: there for lot, there in lots.items() if sum(there)},
        {item: there for item, there in pieces.items() if there},
    )


def _there_now() -> Iterable[tuple[str, int, int | None, int]]:
    return Balance.objects.filter(is_physical=True, quantity__gt=0).values_list(
        "item__kind", "item", "lot", "quantity"
    )


def _there_on(day: date) -> Iterable[tuple[str, int, int | None, int]]:
    """Return what was at each place when the day ended, by the lines posted until then."""
    return (
        PostingLine.objects.filter(
            place__kind__in=[*Place.VESSELS, *Place.STORES], posting__occurred_at__date__lte=day
        )
        .values("item__kind", "item", "lot", "place")
        .annotate(there=Sum("quantity"))
        .order_by()
        .values_list("item__kind", "item", "lot", "there")
    )


def _lots_held(there: dict[int, list[int]], season: str) -> list[_Held]:
    lots = Lot.objects.filter(pk__in=there).select_related("size")
    if season:
        lots = lots.filter(season=int(season))
    held = [
        _Held(
            lot,
            Item.Kind.PACKED if lot.kind == Lot.Kind.PACKED else Item.Kind.HONEY,
            sum(there[lot.pk]),
            _value_cents(unit_cost_cents, there[lot.pk]),
        )
        for lot, unit_cost_cents in packed_costs.unit_costs_cents(lots).items()
    ]
    return sorted(held, key=_honey_then_jars)


def _honey_then_jars(held: _Held) -> tuple[Any, ...]:
    lot = held.thing
    size = (lot.size.brimful_ml, lot.size.name) if lot.size else (0, "")
    return KINDS.index(held.kind), *size, lot.made_on, lot.pk


def _value_cents(unit_cost_cents: Fraction | None, there: list[int]) -> int | None:
    """Add up what a lot is worth at each place, as the pages of stock show it."""
    if unit_cost_cents is None:
        return None
    return sum(round(unit_cost_cents * quantity) for quantity in there)


def _parts_held(there: dict[int, int]) -> list[_Held]:
    costs = PartReceipt.objects.average_costs()
    return [
        _Held(
            part,
            Item.Kind.PART,
            there[part.item_id],
            None if part.pk not in costs else round(costs[part.pk] * there[part.item_id]),
        )
        for part in PackagingPart.objects.filter(item__in=there)
    ]


def _last_left(lots: Iterable[Lot]) -> dict[int, date]:
    """Return the last day on which some of each lot was sold or bottled, undone postings aside."""
    return {
        lot: timezone.localdate(moment)
        for lot, moment in PostingLine.objects.filter(
            lot__in=list(lots),
            quantity__lt=0,
            place__kind__in=[*Place.VESSELS, *Place.STORES],
            posting__kind__in=[Posting.Kind.SALE, Posting.Kind.BOTTLING],
            posting__reversed_by=None,
        )
        .order_by()
        .values_list("lot")
        .annotate(Max("posting__occurred_at"))
    }
