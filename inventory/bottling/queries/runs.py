"""Bottling runs for display: what a run would need or do, and what it made."""

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.db.models import Q, QuerySet
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, Product, RunDip
from inventory.bottling.part_costs import heaps_of
from inventory.bottling.queries import additions, parts
from inventory.bottling.queries.additions import Wanted
from inventory.bottling.rules import costs, filling, forms_of_honey
from inventory.bottling.rules import parts as part_rules
from inventory.bottling.rules.figures import RunFigures
from inventory.bottling.rules.forms_of_honey import Addition, Needed
from inventory.bottling.rules.parts import PartNeed
from inventory.shared.errors import HouseError
from inventory.shared.models import House
from inventory.stock.models import Balance, Lot, Place, PostingLine, ProductionSettings
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
    wanted: Wanted
    needed: Needed
    ready_on: date | None
    lots_without_country: list[Lot]

    @property
    def left_grams(self) -> int:
        return (self.there.quantity if self.there else 0) - self.needed_grams

    @property
    def is_creamed(self) -> bool:
        return self.product.form == Product.Form.CREAMED

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
    addition: Addition | None
    is_estimated: bool


@dataclass(frozen=True)
class Overview:
    """The page of the bottling room at a glance."""

    planned: list[BottlingRun]
    to_order: list[parts.PartStock]
    recent: list[tuple[BottlingRun, RunFigures | None]]
    held: list[Lot]
    setting: list[Lot]
    has_comb: bool
    comb_to_cut: list[Balance]


def preview_plan(
    *,
    product: Product,
    source: Place,
    pieces: int,
    celsius: Decimal,
    planned_already: BottlingRun | None = None,
    without_labels: bool = False,
    planned_for: date | None = None,
    wanted: Wanted | None = None,
    is_made: bool = False,
) -> PlanPreview:
    """Work out what a run of so many pieces from a vessel needs; nothing is saved.

    `wanted` is the seed or the comb that goes in beside the honey.
    `is_made` says that it was made on the day that it is planned for: what was in the vessel that
    day counts, and what the books lacked is said but stands against nothing.
    `planned_already` is the run itself, when it is planned and so is no rival of its own.
    """
    moment = PostingLine.objects.moment_of_draw(planned_for, source) if is_made else None
    size, there = product.honey_size, Balance.objects.in_vessel(source, moment)
    uses = product.uses_with_stock()
    wanted = wanted or Wanted()
    if product.form != Product.Form.CREAMED:
        wanted = replace(wanted, seed_source=None, setting_days=0)
    if product.form != Product.Form.CHUNK:
        wanted = replace(wanted, comb=None, comb_grams_each=None)
    needed = forms_of_honey.needed(
        size,
        pieces,
        seed_percent=wanted.seed_percent if wanted.seed_source else None,
        comb=wanted.comb,
        comb_grams_each=wanted.comb_grams_each or 0,
    )
    refusals = []
    warnings = _other_lot(planned_already, there) if planned_already else []
    if is_made:
        warnings += filling.draw_notices(there, source, needed.liquid_grams)
    else:
        if error := filling.honey_error(there, source, needed.liquid_grams, parameter="pieces"):
            refusals.append(error.message)
        refusals += _refused_additions(product, source, wanted, needed)
    setting_days = wanted.setting_days
    if setting_days is None:
        setting_days = ProductionSettings.current().setting_days if wanted.seed_source else 0
    fits = []
    if there:
        try:
            fits = filling.fits(
                size,
                moisture_percent=there.honey_lot.honey_moisture,
                celsius=celsius,
                comb_grams=wanted.comb_grams_each or 0,
            )
        except ValueError as error:
            refusals.append(str(error))
    return PlanPreview(
        product=product,
        source=source,
        there=there,
        pieces=pieces,
        needed_grams=needed.liquid_grams,
        other_runs_grams=_planned_grams(source, besides=planned_already),
        fits=fits,
        parts=part_rules.needs(
            part_rules.but_labels(uses) if without_labels else uses, filled=pieces
        ),
        refusals=refusals,
        warnings=warnings,
        wanted=wanted,
        needed=needed,
        ready_on=forms_of_honey.ready_on(planned_for or timezone.localdate(), setting_days),
        lots_without_country=origin.without_country(there.honey_lot, House.current())
        if there
        else [],
    )


def _refused_additions(
    product: Product, source: Place, wanted: Wanted, needed: Needed
) -> list[str]:
    """Say why the seed or the comb that is wanted can't go into the jars."""
    errors: list[HouseError] = []
    found = []
    if wanted.seed_source:
        seed = Balance.objects.in_vessel(wanted.seed_source)
        errors += forms_of_honey.seed_errors(
            seed, wanted.seed_source, needed.seed_grams, parameter="seed_source"
        )
    if product.form == Product.Form.CHUNK:
        if wanted.comb is None and not wanted.is_comb_gone:
            found.append(forms_of_honey.no_comb_sentence())
        else:
            errors += forms_of_honey.comb_errors(
                wanted.comb, needed.comb_quantity, parameter="comb"
            )
        each = wanted.comb_grams_each
        if each and (sentence := forms_of_honey.comb_error_sentence(product.honey_size, each)):
            found.append(sentence)
    return found + [error.message for error in errors]


def preview_record(
    run: BottlingRun,
    *,
    pieces_filled: int,
    pieces_broken: int,
    drawn_grams: int,
    loss_grams: int,
    labour_minutes: int | None,
    bottled_on: date,
    celsius: Decimal | None = None,
    drawn_uncertainty_grams: int | None = None,
    is_estimated: bool = False,
    without_labels: bool = False,
    seed_grams: int | None = None,
    comb_quantity: int | None = None,
) -> RecordPreview | None:
    """Work out what recording would do; None while the figures make no run at all."""
    moment = PostingLine.objects.moment_of_draw(bottled_on, run.source)
    size, there = run.size, Balance.objects.in_vessel(run.source, moment)
    lot = there.honey_lot if there else run.lot
    if lot is None or pieces_filled < 1 or drawn_grams <= 0 or pieces_broken < 0:
        return None
    uses = run.product.uses_with_stock()
    addition, notices = additions.previewed(
        run,
        drawn_grams=drawn_grams,
        pieces=pieces_filled + pieces_broken,
        seed_grams=seed_grams,
        comb_quantity=comb_quantity,
    )
    shares = filling.share_out(
        size,
        drawn_grams=drawn_grams + (addition.grams if addition else 0),
        loss_grams=loss_grams,
        pieces_broken=pieces_broken,
    )
    needs = part_rules.needs(
        part_rules.but_labels(uses) if without_labels else uses,
        filled=pieces_filled,
        broken=pieces_broken,
    )
    beyond = filling.beyond_brim(
        size,
        shares,
        pieces_filled,
        moisture_percent=lot.moisture_percent,
        celsius=run.celsius if celsius is None else celsius,
    )
    figures = RunFigures(
        size=size,
        lot=lot,
        pieces_filled=pieces_filled,
        pieces_broken=pieces_broken,
        shares=shares.with_lost(beyond),
        honey_cents=costs.drawn_cents(lot, drawn_grams, addition),
        parts_cents=costs.parts_cents(needs, heaps_of(need.part for need in needs)),
        labour_cents=costs.labour_cents(
            labour_minutes,
            cents_per_hour=ProductionSettings.current().labour_cents_per_hour,
        ),
        best_by=filling.best_by(bottled_on, size.best_by_months),
    )
    warnings = _other_lot(run, there)
    warnings += filling.draw_notices(there, run.source, drawn_grams)
    warnings += [need.notice for need in needs if need.short]
    warnings += notices
    liquid, added = forms_of_honey.split(
        shares, addition, pieces_filled=pieces_filled, pieces_broken=pieces_broken
    )
    impossible = forms_of_honey.impossible_sentence(size, liquid, added, pieces_filled, addition)
    if impossible:
        warnings.append(impossible)
    else:
        warnings += forms_of_honey.odd_figures(
            size,
            shares,
            addition,
            pieces_filled=pieces_filled,
            pieces_broken=pieces_broken,
            beyond_brim=beyond,
        )
    if figures.is_underfilled and not impossible:
        warnings.append(filling.underfill_sentence(size, -figures.overfill_grams_each))
    return RecordPreview(
        figures=figures,
        source=run.source,
        source_left_grams=max(0, (there.quantity if there else 0) - drawn_grams),
        drawn_uncertainty_grams=drawn_uncertainty_grams,
        parts=needs,
        warnings=warnings,
        addition=addition,
        is_estimated=is_estimated,
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


def listed(
    *,
    words: str = "",
    product: Product | None = None,
    status: str = "",
    first: date | None = None,
    last: date | None = None,
) -> QuerySet[BottlingRun]:
    """Return runs with what a list shows of them, the newest first.

    `words` are a part of a run's number or of its lot's code; the days are those it was planned
    for, or bottled on once it is recorded.
    """
    # What else it shows is read for the page alone, so that all runs are not put in order with it.
    found = (
        BottlingRun.objects.annotate(day=Coalesce("packed_lot__made_on", "planned_for"))
        .select_related("packed_lot")
        .prefetch_related(
            "product__size", "product__item", "source", "target", "lot", "recorded_by"
        )
    )
    if words:
        found = found.filter(Q(number__icontains=words) | Q(packed_lot__code__icontains=words))
    if product is not None:
        found = found.filter(product=product)
    if status:
        found = found.filter(status=status)
    if first is not None:
        found = found.filter(day__gte=first)
    if last is not None:
        found = found.filter(day__lte=last)
    return found.order_by("-day", "-id")


def _known() -> QuerySet[BottlingRun]:
    return BottlingRun.objects.select_related(
        "product__size", "product__item", "source", "target", "lot", "packed_lot", "recorded_by"
    )


def overview() -> Overview:
    """Return what the bottling room shows first, in a constant number of queries."""
    known = _known()
    return Overview(
        planned=list(known.filter(status=BottlingRun.Status.PLANNED).order_by("planned_for", "id")),
        to_order=parts.short(),
        recent=recent(10),
        held=list(
            Lot.objects.filter(is_on_hold=True, product__isnull=False).select_related(
                "product", "run"
            )
        ),
        setting=additions.setting_lots(),
        comb_to_cut=list(additions.comb_in_stock(to_cut=True)),
        has_comb=Product.Form.COMB in additions.forms_in_use(),
    )


def recent(count: int) -> list[tuple[BottlingRun, RunFigures | None]]:
    """Return the runs that were last recorded or cancelled, and what they made, in one query."""
    done = _known().exclude(status=BottlingRun.Status.PLANNED).order_by("-recorded_at", "-id")
    return [(run, figures_of(run)) for run in done[:count]]


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
            drawn_grams=run.honey_grams,
            loss_grams=run.loss_grams,
            pieces_broken=run.pieces_broken,
        ),
        honey_cents=run.honey_cents,
        parts_cents=run.parts_cents,
        labour_cents=run.labour_cents,
        best_by=packed_lot.best_by,
    )


def dips_of(run: BottlingRun) -> list[RunDip]:
    """Return the dips that were read for a run, before and after it, with their readings."""
    return list(run.dips.select_related("reading"))


def _planned_grams(source: Place, *, besides: BottlingRun | None) -> int:
    """Grams that the other runs already planned from a vessel need."""
    planned = BottlingRun.objects.filter(source=source, status=BottlingRun.Status.PLANNED)
    return sum(
        filling.grams_needed(run.size, run.pieces_planned)
        for run in planned.select_related("product__size")
        if run != besides
    )
