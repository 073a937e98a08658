"""Bottling runs for display: what a run would need or do, and what it made."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, PartReceipt, Product
from inventory.bottling.queries import parts
from inventory.bottling.rules import costs, filling
from inventory.bottling.rules import parts as part_rules
from inventory.bottling.rules.figures import RunFigures
from inventory.bottling.rules.parts import PartNeed
from inventory.shared.models import House
from inventory.stock.models import Balance, Lot, Place, ProductionSettings
from inventory.stock.queries import origin


@dataclass(frozen=True)
class PlanPreview:
    """What a run would need, beside what is there, before anything is saved."""

    product: Product
    source: Place
    there: Balance | None
    pieces: int
    needed_grams: int
    other_runs_grams: int
    fits: list[filling.Fit]
    parts: list[PartNeed]
    refusals: list[str]
    warnings: list[str]
    lots_without_country: list[Lot]

    @property
    def left_grams(self) -> int:
        return (self.there.quantity if self.there else 0) - self.needed_grams

    @property
    def short_parts(self) -> list[PartNeed]:
        return [need for need in self.parts if need.short]

    @property
    def is_crowded(self) -> bool:
        """Other planned runs want honey that this one would take."""
        return self.other_runs_grams > 0 and self.left_grams < self.other_runs_grams


@dataclass(frozen=True)
class RecordPreview:
    """What recording a run would do, before it is posted."""

    figures: RunFigures
    source: Place
    source_left_grams: int
    drawn_uncertainty_grams: int | None
    parts: list[PartNeed]
    warnings: list[str]


@dataclass(frozen=True)
class Overview:
    """The page of the bottling room at a glance."""

    planned: list[BottlingRun]
    to_order: list[parts.PartStock]
    recent: list[tuple[BottlingRun, RunFigures | None]]
    held: list[Lot]


def preview_plan(
    *,
    product: Product,
    source: Place,
    pieces: int,
    celsius: Decimal,
    planned_already: BottlingRun | None = None,
) -> PlanPreview:
    """Work out what a run of so many pieces from a vessel needs; nothing is saved.

    `planned_already` is the run itself, when it is planned and so is no rival of its own.
    """
    size, there = product.honey_size, Balance.objects.in_vessel(source)
    needed = filling.grams_needed(size, pieces)
    refusals = []
    if error := filling.honey_error(there, source, needed, parameter="pieces"):
        refusals.append(error.message)
    fits = []
    if there:
        try:
            fits = filling.fits(
                size, moisture_percent=there.honey_lot.honey_moisture, celsius=celsius
            )
        except ValueError as error:
            refusals.append(str(error))
    return PlanPreview(
        product=product,
        source=source,
        there=there,
        pieces=pieces,
        needed_grams=needed,
        other_runs_grams=_planned_grams(source, besides=planned_already),
        fits=fits,
        parts=part_rules.needs(product.uses_with_stock(), filled=pieces),
        refusals=refusals,
        warnings=_other_lot(planned_already, there) if planned_already else [],
        lots_without_country=origin.without_country(there.honey_lot, House.current())
        if there
        else [],
    )


def preview_record(
    run: BottlingRun,
    *,
    pieces_filled: int,
    pieces_broken: int,
    drawn_grams: int,
    loss_grams: int,
    labour_minutes: int | None,
    bottled_on: date,
    drawn_uncertainty_grams: int | None = None,
) -> RecordPreview | None:
    """Work out what recording would do; None while the figures make no run at all."""
    size, there = run.size, Balance.objects.in_vessel(run.source)
    shares = filling.share_out(
        size, drawn_grams=drawn_grams, loss_grams=loss_grams, pieces_broken=pieces_broken
    )
    if there is None or pieces_filled < 1 or drawn_grams <= 0 or pieces_broken < 0:
        return None
    needs = part_rules.needs(
        run.product.uses_with_stock(), filled=pieces_filled, broken=pieces_broken
    )
    lot = there.honey_lot
    figures = RunFigures(
        size=size,
        lot=lot,
        pieces_filled=pieces_filled,
        pieces_broken=pieces_broken,
        shares=shares,
        honey_cents=costs.honey_cents(lot, Decimal(drawn_grams)),
        parts_cents=costs.parts_cents(needs, PartReceipt.objects.average_costs()),
        labour_cents=costs.labour_cents(
            labour_minutes,
            cents_per_hour=ProductionSettings.current().labour_cents_per_hour,
        ),
        best_by=filling.best_by(bottled_on, size.best_by_months),
    )
    warnings = _other_lot(run, there)
    warnings += [need.warning for need in needs if need.short]
    if error := filling.honey_error(
        there, run.source, drawn_grams, parameter="drawn_grams", is_done=True
    ):
        warnings.append(error.message)
    is_impossible = filling.is_impossible(size, shares, pieces_filled)
    if is_impossible:
        warnings.append(filling.impossible_sentence(size, shares, pieces_filled))
    elif filling.is_excessive(size, shares, pieces_filled + pieces_broken):
        warnings.append(filling.excess_sentence(size, shares, pieces_filled))
    if figures.is_underfilled and not is_impossible:
        warnings.append(filling.underfill_sentence(size, -figures.overfill_grams_each))
    return RecordPreview(
        figures=figures,
        source=run.source,
        source_left_grams=there.quantity - drawn_grams,
        drawn_uncertainty_grams=drawn_uncertainty_grams,
        parts=needs,
        warnings=warnings,
    )


def _other_lot(run: BottlingRun, there: Balance | None) -> list[str]:
    """Say that the vessel holds other honey than the run was planned with, where it does."""
    if there is None or run.lot is None or run.lot == there.lot:
        return []
    return [
        _(
            "%(place)s now has lot %(now)s, but the run was planned with lot %(then)s. If "
            "you filled the jars before the other honey went in, undo the entry of that "
            "honey first."
        )
        % {"place": run.source.name, "now": there.honey_lot.code, "then": run.lot.code}
    ]


def overview() -> Overview:
    """Return what the bottling room shows first, in a constant number of queries."""
    known = BottlingRun.objects.select_related(
        "product__size", "source", "target", "lot", "packed_lot", "recorded_by"
    )
    recent = known.exclude(status=BottlingRun.Status.PLANNED).order_by("-recorded_at", "-id")[:10]
    return Overview(
        planned=list(known.filter(status=BottlingRun.Status.PLANNED).order_by("planned_for", "id")),
        to_order=parts.short(),
        recent=[(run, figures_of(run)) for run in recent],
        held=list(
            Lot.objects.filter(is_on_hold=True, kind=Lot.Kind.PACKED).select_related(
                "product", "run"
            )
        ),
    )


def figures_of(run: BottlingRun) -> RunFigures | None:
    """Return what a recorded run made; None for one that is planned or was dropped."""
    lot, packed_lot = run.lot, run.packed_lot
    if not run.pieces_filled or not run.drawn_grams or lot is None or packed_lot is None:
        return None
    return RunFigures(
        size=run.size,
        lot=lot,
        pieces_filled=run.pieces_filled,
        pieces_broken=run.pieces_broken,
        shares=filling.share_out(
            run.size,
            drawn_grams=run.drawn_grams,
            loss_grams=run.loss_grams,
            pieces_broken=run.pieces_broken,
        ),
        honey_cents=run.honey_cents,
        parts_cents=run.parts_cents,
        labour_cents=run.labour_cents,
        best_by=packed_lot.best_by,
    )


def _planned_grams(source: Place, *, besides: BottlingRun | None) -> int:
    """Grams that the other runs already planned from a vessel need."""
    planned = BottlingRun.objects.filter(source=source, status=BottlingRun.Status.PLANNED)
    return sum(
        filling.grams_needed(run.size, run.pieces_planned)
        for run in planned.select_related("product__size")
        if run != besides
    )
