"""What bottling runs drew from the tank, and where that honey went."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, cast

from django.db.models import QuerySet
from django.utils import timezone

from apiary_sales.reports.frames.make import TEXT, WHOLE, frame_of, sums
from inventory.bottling.models import BottlingRun
from inventory.bottling.rules import filling
from inventory.physics import units
from inventory.shared import days
from inventory.shared.money import share_cents
from inventory.stock.models import Lot, Posting

if TYPE_CHECKING:
    import pandas as pd

RUN = {
    "run": TEXT,
    "day": TEXT,
    "product_key": TEXT,
    "product": TEXT,
    "size": TEXT,
    "lot": TEXT,
    "packed_lot": TEXT,
    "season": WHOLE,
    "measured_by": TEXT,
    "runs": WHOLE,
    "estimated_runs": WHOLE,
    "filled": WHOLE,
    "broken": WHOLE,
    "minutes": WHOLE,
    "drawn_grams": WHOLE,
    "label_grams": WHOLE,
    "over_grams": WHOLE,
    "broken_grams": WHOLE,
    "loss_grams": WHOLE,
    "over_cents": WHOLE,
}
MEASURES = [name for name, dtype in RUN.items() if dtype == WHOLE and name != "season"]


@dataclass(frozen=True)
class RunFilters:
    """Which recorded runs count: season of the honey, `size` and `product` by short name."""

    since: date | None = None
    until: date | None = None
    season: str = ""
    size: str = ""
    product: str = ""


def runs(filters: RunFilters) -> pd.DataFrame:
    """Return one row for each recorded run that stands, the oldest first.

    Runs for other beekeepers are left out: the honey given away in them is not the house's.

    The honey drawn is split without rest: `drawn = label + over + broken + loss`, in whole grams.
    `measured_by` is how the honey drawn was found; where it is estimated, so is the overfill.
    `over_cents` is the share of the honey's cost that the overfill had; it is below zero
    for a run that filled its jars short.
    """
    return frame_of(_rows(filters), RUN)


def runs_by_size(filters: RunFilters) -> pd.DataFrame:
    """Return the rows of `runs` by size, the smallest first, and by day within a size."""
    found = runs(filters)
    grams = found["label_grams"] / found["filled"]
    smallest = grams.groupby(found["size"]).transform("min")
    order = sorted(
        range(len(found)),
        key=lambda row: (smallest.iat[row], found["size"].iat[row], found["day"].iat[row], row),
    )
    return found.iloc[order].reset_index(drop=True)


def overfill(filters: RunFilters) -> pd.DataFrame:
    """Return the honey given away above the label by product, the smallest first."""
    found = runs(filters)
    order = sorted(
        range(len(found)),
        key=lambda row: (
            found["label_grams"].iat[row] / found["filled"].iat[row],
            found["product"].iat[row],
        ),
    )
    return sums(found.iloc[order], ["product_key", "product"], MEASURES)


def _rows(filters: RunFilters) -> Iterator[Sequence[Any]]:
    for run in _recorded(filters):
        product = run.product
        # A recorded run has all of these: the constraint `bottling_run_recorded_is_whole`.
        drawn_grams, filled = run.honey_grams, cast(int, run.pieces_filled)
        lot, packed_lot = cast(Lot, run.lot), cast(Lot, run.packed_lot)
        posting = cast(Posting, run.posting)
        shares = filling.share_out(
            product.honey_size,
            drawn_grams=drawn_grams,
            loss_grams=run.loss_grams,
            pieces_broken=run.pieces_broken,
        )
        label_grams = units.round_grams(product.declared_grams * filled)
        over_grams = shares.packed_grams - label_grams
        over_cents = None
        if run.honey_cents is not None:
            over_cents = share_cents(run.honey_cents, over_grams, drawn_grams)
        yield (
            run.number,
            timezone.localdate(posting.occurred_at),
            product.code,
            product.name,
            product.honey_size.name,
            lot.code,
            packed_lot.code,
            lot.season,
            run.drawn_by,
            1,
            int(run.is_estimated),
            filled,
            run.pieces_broken,
            run.labour_minutes,
            drawn_grams,
            label_grams,
            over_grams,
            shares.broken_grams,
            run.loss_grams,
            over_cents,
        )


def _recorded(filters: RunFilters) -> QuerySet[BottlingRun]:
    found = BottlingRun.objects.filter(status=BottlingRun.Status.RECORDED, lot__owner=None)
    found = found.filter(**days.lookups("posting__occurred_at", filters.since, filters.until))
    if filters.season:
        found = found.filter(lot__season=int(filters.season))
    if filters.size:
        found = found.filter(product__size__code=filters.size)
    if filters.product:
        found = found.filter(product__code=filters.product)
    return found.select_related("product__size", "lot", "packed_lot", "posting").order_by(
        "posting__occurred_at", "id"
    )
