"""Bottling days for display: the rows of a sheet, what it would do, and what is estimated still."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.db.models import OuterRef, QuerySet, Subquery
from django.utils import timezone

from inventory.bottling.models import (
    BottlingDay,
    BottlingDayRow,
    BottlingRun,
    EstimateSettlement,
    FillCheck,
    Product,
    Size,
    found_before_grams,
)
from inventory.bottling.queries import additions, runs
from inventory.bottling.rules import estimates
from inventory.bottling.rules.figures import RunFigures, decimal_of
from inventory.shared.errors import BadValue
from inventory.stock import dip_weights, lot_codes
from inventory.stock.models import Balance, Lot, Place, ProductionSettings

# A sheet offers the products that were filled last, so that nobody has to look for them.
OFFERED_ROWS = 6


@dataclass(frozen=True)
class DaySheetRow:
    """A product that a sheet offers, with what was saved of it and the code its jars get."""

    product: Product
    saved: BottlingDayRow | None = None
    run: BottlingRun | None = None
    code: str = ""


@dataclass(frozen=True)
class RowPreview:
    """What a row takes by its pieces, and its share of what was measured; None without a dip."""

    product: Product
    pieces: int
    estimated_grams: int
    drawn_grams: int | None
    overfill_grams_each: Decimal | None
    was_checked: bool


@dataclass(frozen=True)
class Reading:
    """A dip or weight of the vessel beside what the books have there."""

    grams: int
    book_grams: int
    uncertainty_grams: int = 0

    @property
    def difference_grams(self) -> int:
        return self.grams - self.book_grams


@dataclass(frozen=True)
class DayPreview:
    """What recording a sheet would do; `drawn_grams` is None where it would be estimated."""

    rows: list[RowPreview]
    estimated_grams: int
    drawn_grams: int | None
    before: Reading | None
    after: Reading | None
    skimmed_grams: int
    other_grams: int
    problem: str = ""

    @property
    def beyond_estimate_grams(self) -> int:
        """What was measured beyond what the pieces say; negative where it is less."""
        return (self.drawn_grams or 0) - self.estimated_grams

    @property
    def unchecked(self) -> list[str]:
        """Products whose overfill nobody ever weighed."""
        return [row.product.name for row in self.rows if not row.was_checked]


@dataclass(frozen=True)
class ToSettle:
    """The estimated runs of one vessel on one day."""

    source: Place
    bottled_on: date
    runs: list[BottlingRun]

    @property
    def estimated_grams(self) -> int:
        return sum(run.drawn_grams or 0 for run in self.runs)

    @property
    def first(self) -> BottlingRun:
        return self.runs[0]


@dataclass(frozen=True)
class DayResult:
    """A recorded bottling day with its runs."""

    day: BottlingDay
    runs: list[tuple[BottlingRun, RunFigures | None]]
    settlements: list[EstimateSettlement]

    @property
    def standing(self) -> list[BottlingRun]:
        """The runs that were not undone."""
        recorded = BottlingRun.Status.RECORDED
        return [run for run, _figures in self.runs if run.status == recorded]

    @property
    def drawn_grams(self) -> int:
        return sum(run.drawn_grams or 0 for run in self.standing)

    @property
    def pieces_filled(self) -> int:
        return sum(run.pieces_filled or 0 for run in self.standing)

    @property
    def first_estimated(self) -> BottlingRun | None:
        return next((run for run in self.standing if run.is_estimated), None)


def sheets() -> QuerySet[BottlingDay]:
    """Return the sheets, those that are not recorded yet first, then the newest."""
    return (
        BottlingDay.objects.select_related("source", "saved_by")
        .prefetch_related("rows__product", "rows__run")
        .order_by("status", "-bottled_on", "-id")
    )


def open_sheets() -> list[BottlingDay]:
    """Return the sheets that are not recorded yet, the oldest day first."""
    drafts = BottlingDay.objects.filter(status=BottlingDay.Status.DRAFT)
    return list(drafts.select_related("source", "saved_by").order_by("bottled_on", "id"))


def usual_source(day: date) -> Place | None:
    """Return the vessel a new sheet starts with: planned for the day, used last, or fullest.

    A tank goes before a drum; an empty vessel is not used again.
    """
    planned = BottlingRun.objects.filter(planned_for=day, status=BottlingRun.Status.PLANNED)
    if run := planned.select_related("source").order_by("id").first():
        return run.source
    filled = Balance.objects.filter(
        is_physical=True,
        is_vessel=True,
        quantity__gt=0,
        place__kind__in=Place.VESSELS,
        place__is_active=True,
    )
    found = list(filled.select_related("place").order_by("-quantity", "id"))
    last = BottlingRun.objects.filter(
        status=BottlingRun.Status.RECORDED, source__in=[balance.place_id for balance in found]
    )
    if run := last.select_related("source").order_by("-recorded_at").first():
        return run.source
    tanks = [balance for balance in found if balance.place.kind == Place.Kind.TANK]
    return next((balance.place for balance in [*tanks, *found]), None)


def products_to_fill(source: Place | None) -> list[Product]:
    """Return the products that a sheet can fill, those filled last first.

    What is sold as another honey than the vessel has comes at the end.
    """
    there = Balance.objects.in_vessel(source) if source else None
    honey = there.honey_lot.floral_source if there else ""

    def is_other(product: Product) -> bool:
        return bool(honey and product.variety and not product.variety.covers(honey))

    filled = Lot.objects.filter(product=OuterRef("pk"), run__isnull=False)
    products = (
        Product.objects.in_use()
        .of_honey()
        .filter(is_unlabelled=False, form__in=[Product.Form.LIQUID, Product.Form.CREAMED])
        .annotate(last=Subquery(filled.order_by("-made_on", "-id").values("made_on")[:1]))
    )
    last_first = sorted(products, key=lambda product: product.last or date.min, reverse=True)
    return sorted(last_first, key=is_other)


def sheet_rows(
    source: Place | None, bottled_on: date, sheet: BottlingDay | None
) -> list[DaySheetRow]:
    """Return the rows a sheet shows: saved ones, planned ones, then what was filled last."""
    rows: list[DaySheetRow] = []
    if sheet is not None:
        saved = sheet.rows.select_related("product", "run").order_by("id")
        rows = [DaySheetRow(row.product, row, row.run, row.lot_code) for row in saved]
    planned = BottlingRun.objects.filter(
        source=source, planned_for=bottled_on, status=BottlingRun.Status.PLANNED
    ).select_related("product")
    taken = {row.run.pk for row in rows if row.run}
    rows += [
        DaySheetRow(run.product, None, run, run.lot_code)
        for run in planned.order_by("id")
        if run.pk not in taken
    ]
    there = {row.product.pk for row in rows}
    offered = [product for product in products_to_fill(source) if product.pk not in there]
    offered = offered[: max(0, OFFERED_ROWS - len(rows))]
    codes = expected_codes(offered, bottled_on)
    return rows + [DaySheetRow(product, code=codes[product.pk]) for product in offered]


def expected_codes(products: Sequence[Product], day: date) -> dict[int, str]:
    """Return the code each product would get, by its key; "…" is for a number not given yet."""
    code = lot_codes.of_day(ProductionSettings.current().lot_code_pattern, day)
    if lot_codes.has_number(code):
        return {product.pk: lot_codes.numbered(code, "…") for product in products}
    stamped = set(
        BottlingRun.objects.filter(lot_code=code, product__in=products)
        .exclude(status=BottlingRun.Status.CANCELLED)
        .values_list("product", flat=True)
    )
    return {product.pk: f"{code}-…" if product.pk in stamped else code for product in products}


def preview(
    *,
    source: Place,
    bottled_on: date,
    rows: Sequence[tuple[Product, int, int]],
    celsius: Decimal,
    before_mm: int | None = None,
    after_mm: int | None = None,
    before_grams: int | None = None,
    after_grams: int | None = None,
    skimmed_grams: int = 0,
    sheet: BottlingDay | None = None,
) -> DayPreview | None:
    """Work out what recording a sheet would do; None while no row has pieces.

    `rows` are products with the pieces filled and broken.
    """
    if not rows:
        return None
    there = Balance.objects.in_vessel_on(source, bottled_on)
    lot = there.honey_lot if there else None
    if sheet is not None and sheet.dip_before:
        lot = sheet.dip_before.lot
    book = there.quantity if there else 0
    book_before = book
    if sheet is not None and sheet.book_grams_before is not None:
        book_before = sheet.book_grams_before
    problem, before, after = "", None, None
    try:
        before = _reading(source, lot, celsius, before_mm, before_grams, book_before)
        found = before.difference_grams if before else 0
        after = _reading(source, lot, celsius, after_mm, after_grams, book + found - skimmed_grams)
    except BadValue as error:
        problem = error.message
    drawn = after.book_grams - after.grams if after else None
    if drawn is not None and drawn <= 0:
        drawn = None
    told = [_row(source, bottled_on, product, filled, broken) for product, filled, broken in rows]
    weights = [row.estimated_grams for row in told]
    if drawn is not None:
        shares = estimates.share_grams(drawn, weights)
        told = [
            replace(
                row,
                drawn_grams=share,
                overfill_grams_each=_overfill(row, share, filled),
            )
            for row, share, (_product, filled, _broken) in zip(told, shares, rows, strict=True)
        ]
    return DayPreview(
        rows=told,
        estimated_grams=sum(weights),
        drawn_grams=drawn,
        before=before,
        after=after,
        skimmed_grams=skimmed_grams,
        other_grams=book - book_before,
        problem=problem,
    )


def _row(source: Place, day: date, product: Product, filled: int, broken: int) -> RowPreview:
    overfill = FillCheck.objects.average_overfill(product.honey_size)
    whole = estimates.honey_grams(
        product.honey_size,
        pieces_filled=filled,
        pieces_broken=broken,
        loss_grams=0,
        overfill_grams=overfill,
    )
    run = BottlingRun.objects.filter(
        source=source, planned_for=day, product=product, status=BottlingRun.Status.PLANNED
    ).first()
    if run is not None:
        wanted = additions.wanted_by(run)
        whole = estimates.drawn_grams(
            whole,
            seed_percent=wanted.seed_percent if wanted.seed_source else None,
            seed_grams=None,
            comb_grams=(wanted.comb_grams_each or 0) * (filled + broken),
        )
    each = None if overfill is None else decimal_of(overfill, "0.1")
    return RowPreview(product, filled, whole, None, each, overfill is not None)


def _overfill(row: RowPreview, share: int, filled: int) -> Decimal | None:
    """Return the overfill of a piece, where its share of the measured honey is `share`."""
    estimated = Fraction(row.overfill_grams_each or 0)
    if not filled:
        return row.overfill_grams_each
    return decimal_of(estimated + Fraction(share - row.estimated_grams, filled), "0.1")


def _reading(
    source: Place,
    lot: Lot | None,
    celsius: Decimal,
    depth_mm: int | None,
    grams: int | None,
    book_grams: int,
) -> Reading | None:
    """Return what a dip or a weight found; raises `BadValue` for a dip that can't be."""
    if grams is not None:
        return Reading(grams, book_grams)
    if depth_mm is None or lot is None:
        return None
    try:
        weighed = dip_weights.of_depth(
            source,
            depth_mm,
            moisture_percent=lot.honey_moisture,
            celsius=celsius,
            mark_mm=ProductionSettings.current().stick_mark_mm,
        )
    except ValueError as error:
        raise BadValue(str(error), parameter="celsius") from error
    return Reading(weighed.grams, book_grams, weighed.uncertainty_grams)


def result_of(day: BottlingDay) -> DayResult:
    """Return what a recorded sheet made."""
    made = BottlingRun.objects.filter(day_rows__day=day).select_related(
        "product__size", "source", "target", "lot__owner", "packed_lot"
    )
    return DayResult(
        day=day,
        runs=[(run, runs.figures_of(run)) for run in made.order_by("id")],
        settlements=list(
            EstimateSettlement.objects.filter(settled_runs__run__day_rows__day=day)
            .select_related("settled_by", "source")
            .distinct()
        ),
    )


def to_settle() -> list[ToSettle]:
    """Return the estimated runs by vessel and day, the oldest first; in one query."""
    found: dict[tuple[Place, date], list[BottlingRun]] = {}
    for run in BottlingRun.objects.estimated():
        made_on = run.packed_lot.made_on if run.packed_lot else timezone.localdate()
        found.setdefault((run.source, made_on), []).append(run)
    return [ToSettle(source, day, runs_of_day) for (source, day), runs_of_day in found.items()]


def to_settle_until(source: Place, day: date) -> tuple[list[BottlingRun], int]:
    """Return the runs that a dip of that day settles, and what should be in the vessel then."""
    found = list(BottlingRun.objects.estimated(source, until=day))
    expected = Balance.objects.grams_on(source, day)
    return found, expected + (found_before_grams(found[0]) if found else 0)


def settlements_of(run: BottlingRun) -> list[EstimateSettlement]:
    """Return what settled the honey of a run that was estimated, the newest first."""
    found = EstimateSettlement.objects.filter(settled_runs__run=run)
    return list(
        found.select_related("settled_by", "source", "dip").prefetch_related("settled_runs__run")
    )


def estimate_of(
    run: BottlingRun,
    *,
    pieces_filled: int,
    pieces_broken: int,
    loss_grams: int,
    seed_grams: int | None = None,
) -> int:
    """Return what would be booked as drawn by a run that nobody measured."""
    size: Size = run.size
    wanted = additions.wanted_by(run)
    return estimates.drawn_grams(
        estimates.honey_grams(
            size,
            pieces_filled=pieces_filled,
            pieces_broken=pieces_broken,
            loss_grams=loss_grams,
            overfill_grams=FillCheck.objects.average_overfill(size),
        ),
        seed_percent=wanted.seed_percent if wanted.seed_source else None,
        seed_grams=seed_grams,
        comb_grams=(wanted.comb_grams_each or 0) * (pieces_filled + pieces_broken),
    )
