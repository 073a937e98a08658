"""Bottling runs for display: what a plan needs, what a run made, what a fill check says."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling import filling, verdicts
from inventory.bottling.models import BottlingRun, FillCheck, Size
from inventory.bottling.queries import parts
from inventory.bottling.services import fill_checks, runs
from inventory.physics import fill_check
from inventory.physics.fill_check import FillCheck as Verdict
from inventory.shared.errors import BadValue, HouseError
from inventory.shared.money import share_cents
from inventory.stock import costing, density, vessels
from inventory.stock.models import Balance, Item, Lot, Place, ProductionSettings

SEASON_DAYS = 365


@dataclass(frozen=True)
class PlanPreview:
    """What a run would need, beside what is there, before anything is saved."""

    size: Size
    source: Place
    there: Balance | None
    pieces: int
    needed_grams: int
    other_runs_grams: int
    fits: list[filling.Fit]
    parts: list[parts.PartNeed]
    refusals: list[str]
    warnings: list[str]

    @property
    def left_grams(self) -> int:
        return (self.there.quantity if self.there else 0) - self.needed_grams

    @property
    def short_parts(self) -> list[parts.PartNeed]:
        return [need for need in self.parts if need.short]

    @property
    def is_crowded(self) -> bool:
        """Other planned runs want honey that this one would take."""
        return self.other_runs_grams > 0 and self.left_grams < self.other_runs_grams


@dataclass(frozen=True)
class RunFigures:
    """What a run made of the honey drawn, recorded or about to be."""

    size: Size
    lot: Lot
    pieces_filled: int
    pieces_broken: int
    shares: filling.Shares
    honey_cents: int | None
    parts_cents: int | None
    labour_cents: int | None
    best_by: date

    @property
    def yield_percent(self) -> Decimal:
        """Label weight of the filled pieces over the honey drawn, in percent."""
        label = Fraction(self.size.declared_grams) * self.pieces_filled
        return parts.decimal_of(label * 100 / self.shares.drawn_grams, "0.1")

    @property
    def loss_percent(self) -> Decimal:
        lost = self.shares.loss_grams + self.shares.broken_grams
        return parts.decimal_of(Fraction(lost * 100, self.shares.drawn_grams), "0.1")

    @property
    def overfill_grams(self) -> Decimal:
        """Honey in all filled pieces beyond their labels; negative when they are short."""
        label = self.size.declared_grams * self.pieces_filled
        return Decimal(self.shares.packed_grams) - label

    @property
    def overfill_grams_each(self) -> Decimal:
        return parts.decimal_of(Fraction(self.overfill_grams) / self.pieces_filled, "0.1")

    @property
    def overfill_cents(self) -> int | None:
        """What the overfill of the run cost at the lot's cost; None while it is unknown."""
        return cents_of(self.lot, self.overfill_grams)

    @property
    def overfill_cents_each(self) -> Decimal | None:
        """Overfill of one piece in units of currency, to four places."""
        if self.lot.unit_cost_cents is None:
            return None
        each = self.lot.unit_cost_cents * Fraction(self.overfill_grams) / self.pieces_filled
        return parts.decimal_of(each / 100, "0.0001")

    @property
    def is_underfilled(self) -> bool:
        return self.overfill_grams < 0

    @property
    def total_cents(self) -> int | None:
        return costing.run_cents(
            honey_cents=self.honey_cents,
            parts_cents=self.parts_cents,
            labour_cents=self.labour_cents,
        )

    @property
    def piece_price(self) -> Decimal | None:
        """What one filled piece cost, in units of currency, to four places."""
        if self.total_cents is None:
            return None
        return parts.decimal_of(Fraction(self.total_cents, 100 * self.pieces_filled), "0.0001")


@dataclass(frozen=True)
class RecordPreview:
    """What recording a run would do, before it is posted."""

    figures: RunFigures
    source: Place
    source_left_grams: int
    drawn_uncertainty_grams: int | None
    parts: list[parts.PartNeed]
    warnings: list[str]


@dataclass(frozen=True)
class Overview:
    """The page of the bottling room at a glance."""

    planned: list[BottlingRun]
    to_order: list[parts.PartStock]
    recent: list[tuple[BottlingRun, RunFigures | None]]
    held: list[Lot]


@dataclass(frozen=True)
class CheckView:
    """A kept fill check with its verdict, worked out again from its weights."""

    check: FillCheck
    verdict: Verdict
    weights_g: list[float]
    histogram: "Histogram"
    run_cents: int | None
    season_pieces: int
    season_cents: int | None

    @property
    def reason(self) -> str:
        """The verdict and what it rests on, in the reader's language."""
        return verdicts.sentence(self.verdict)


@dataclass(frozen=True)
class Bar:
    """One column of the histogram, in the units of its drawing."""

    x: float
    y: float
    width: float
    height: float
    count: int
    low_g: float
    high_g: float


@dataclass(frozen=True)
class Mark:
    """A line down the histogram, at a weight; `anchor` keeps its words inside the drawing."""

    x: float
    label: str
    grams: float
    kind: str
    anchor: str
    y: int


@dataclass(frozen=True)
class Histogram:
    """Sample weights as columns, with the label weight and the limits as lines."""

    bars: list[Bar]
    marks: list[Mark]

    WIDTH, HEIGHT, TOP, ROW = 320, 206, 66, 16


def plan_preview(
    *,
    size: Size,
    source: Place,
    pieces: int,
    celsius: Decimal,
    planned_already: BottlingRun | None = None,
) -> PlanPreview:
    """Work out what a run of so many pieces from a vessel needs; nothing is saved.

    `planned_already` is the run itself, when it is planned and so is no rival of its own.
    """
    there = Balance.objects.in_vessel(source)
    needed = filling.grams_needed(size, pieces)
    refusals = []
    if error := runs.honey_error(there, source, needed, parameter="pieces"):
        refusals.append(error.message)
    fits = []
    if there:
        try:
            fits = filling.fits(size, moisture_percent=there.lot.moisture_percent, celsius=celsius)
        except ValueError as error:
            refusals.append(str(error))
    return PlanPreview(
        size=size,
        source=source,
        there=there,
        pieces=pieces,
        needed_grams=needed,
        other_runs_grams=_planned_grams(source, besides=planned_already),
        fits=fits,
        parts=parts.needs(size, filled=pieces),
        refusals=refusals,
        warnings=_other_lot(planned_already, there) if planned_already else [],
    )


def record_preview(
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
    needs = parts.needs(size, filled=pieces_filled, broken=pieces_broken)
    lot = there.lot
    figures = RunFigures(
        size=size,
        lot=lot,
        pieces_filled=pieces_filled,
        pieces_broken=pieces_broken,
        shares=shares,
        honey_cents=cents_of(lot, Decimal(drawn_grams)),
        parts_cents=runs.parts_cost_cents(needs),
        labour_cents=runs.labour_cost_cents(labour_minutes),
        best_by=filling.best_by(bottled_on, size.best_by_months),
    )
    warnings = _other_lot(run, there)
    warnings += [need.warning for need in needs if need.short]
    if error := runs.honey_error(there, run.source, drawn_grams, parameter="drawn", is_done=True):
        warnings.append(error.message)
    is_impossible = filling.is_impossible(size, shares, pieces_filled)
    if is_impossible:
        warnings.append(runs.impossible_sentence(size, shares, pieces_filled))
    elif filling.is_excessive(size, shares, pieces_filled + pieces_broken):
        warnings.append(runs.excess_sentence(size, shares, pieces_filled))
    if figures.is_underfilled and not is_impossible:
        warnings.append(underfill_sentence(figures))
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
            "%(place)s holds lot %(now)s now; the run was planned with lot %(then)s. "
            "If the jars were filled before that, undo what was poured in first."
        )
        % {"place": run.source.name, "now": there.lot.code, "then": run.lot.code}
    ]


def underfill_sentence(figures: RunFigures) -> str:
    return _(
        "The pieces are short: on average %(short)s under the label's %(label)s. Weigh some "
        "before they are sold; a fill check tells what the rule allows."
    ) % {
        "short": filling.small_weight(-figures.overfill_grams_each),
        "label": filling.declared(figures.size),
    }


def drawn_by_dip(
    *, source: Place, before_mm: int, after_mm: int, celsius: Decimal
) -> density.WeighedVolume:
    """Return what was drawn between two dips of a vessel, by density at its lot's moisture.

    Raises `BadValue` at the dip that cannot be.
    """
    there = Balance.objects.in_vessel(source)
    if there is None:
        raise BadValue(_("%(place)s is empty on the books.") % {"place": source.name})
    litres = []
    for parameter, depth_mm in (("depth_before", before_mm), ("depth_after", after_mm)):
        try:
            litres.append(vessels.litres_at(source, depth_mm))
        except HouseError as error:
            raise BadValue(error.message, parameter=parameter) from error
    if after_mm >= before_mm:
        raise BadValue(
            _("The dip after the run is as deep as before it: nothing was drawn."),
            parameter="depth_after",
        )
    try:
        return density.grams_of(
            litres[0] - litres[1], moisture_percent=there.lot.moisture_percent, celsius=celsius
        )
    except ValueError as error:
        raise BadValue(str(error), parameter="celsius") from error


def overview() -> Overview:
    """Return what the bottling room shows first, in a constant number of queries."""
    known = BottlingRun.objects.select_related(
        "size", "source", "target", "lot", "packed_lot", "recorded_by"
    )
    recent = known.exclude(status=BottlingRun.Status.PLANNED).order_by("-recorded_at", "-id")[:10]
    return Overview(
        planned=list(known.filter(status=BottlingRun.Status.PLANNED).order_by("planned_for", "id")),
        to_order=parts.short(),
        recent=[(run, figures_of(run)) for run in recent],
        held=list(
            Lot.objects.filter(is_on_hold=True, kind=Lot.Kind.PACKED).select_related("size", "run")
        ),
    )


def figures_of(run: BottlingRun) -> RunFigures | None:
    """Return what a recorded run made; None for one that is planned or was dropped."""
    if not run.pieces_filled or not run.drawn_grams:
        return None
    return RunFigures(
        size=run.size,
        lot=run.lot,
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
        best_by=run.packed_lot.best_by,
    )


def vessels_with_honey():
    """Return the balances of the vessels that hold honey, tanks first."""
    return (
        Balance.objects.filter(
            item__kind=Item.Kind.HONEY, is_vessel=True, quantity__gt=0, place__is_active=True
        )
        .select_related("place", "lot")
        .order_by("-place__kind", "place__name")
    )


def usual_celsius() -> Decimal:
    return ProductionSettings.current().honey_house_celsius


def samples_wanted(run: BottlingRun) -> dict[str, int]:
    """Return how many pieces each rule weighs of a recorded run, by its short name."""
    if not run.pieces_filled:
        return {}
    return {
        scheme: fill_check.sample_size_wanted(run.pieces_filled, scheme)
        for scheme in FillCheck.Scheme.values
    }


def season_pieces(size: Size) -> int:
    """Return the pieces of a size packed in the last twelve months, undone runs left out."""
    since = timezone.localdate() - timedelta(days=SEASON_DAYS)
    packed = BottlingRun.objects.filter(
        size=size,
        status=BottlingRun.Status.RECORDED,
        packed_lot__made_on__gt=since,
    ).values_list("pieces_filled", flat=True)
    return sum(packed)


def checks_of(run: BottlingRun) -> list[CheckView]:
    """Return the kept fill checks of a run, newest first."""
    pieces = season_pieces(run.size)
    views = []
    for check in run.fill_checks.select_related("checked_by", "released_by").prefetch_related(
        "weights"
    ):
        weights = [weight.net_milligrams for weight in check.weights.all()]
        weights_g = [weight / 1000 for weight in weights]
        verdict = fill_checks.judge(run, scheme=check.scheme, weights_milligrams=weights)
        overfill = Decimal(str(verdict.overfill_g))
        views.append(
            CheckView(
                check=check,
                verdict=verdict,
                weights_g=weights_g,
                histogram=histogram(verdict, weights_g),
                run_cents=cents_of(run.lot, overfill * run.pieces_filled),
                season_pieces=pieces,
                season_cents=cents_of(run.lot, overfill * pieces),
            )
        )
    return views


def histogram(verdict: Verdict, weights_g: Sequence[float]) -> Histogram:
    """Sort sample weights into columns and place the label weight and the limits beside them."""
    lines = [
        (verdict.limit_g, _("limit"), "limit"),
        (verdict.labelled_g, _("label"), "label"),
        (verdict.average_g, _("average"), "average"),
    ]
    if verdict.second_limit_g is not None:
        lines.insert(0, (verdict.second_limit_g, _("last limit"), "limit"))
    low = min(*weights_g, *(line[0] for line in lines))
    high = max(*weights_g, *(line[0] for line in lines))
    margin = max((high - low) * 0.06, 0.5)
    low, high = low - margin, high + margin
    columns = min(24, max(8, len(weights_g) // 2 + 6))
    step = (high - low) / columns
    counts = [0] * columns
    for weight in weights_g:
        counts[min(columns - 1, int((weight - low) / step))] += 1
    width = Histogram.WIDTH / columns
    room = Histogram.HEIGHT - Histogram.TOP
    bars = [
        Bar(
            x=round(column * width + 0.5, 2),
            y=round(Histogram.HEIGHT - room * count / max(counts), 2),
            width=round(width - 1, 2),
            height=round(room * count / max(counts), 2),
            count=count,
            low_g=low + column * step,
            high_g=low + (column + 1) * step,
        )
        for column, count in enumerate(counts)
        if count
    ]
    marks = []
    for row, (grams, label, kind) in enumerate(sorted(lines)):
        x = round((grams - low) / (high - low) * Histogram.WIDTH, 2)
        anchor = "start" if x < Histogram.WIDTH / 2 else "end"
        marks.append(
            Mark(x=x, label=label, grams=grams, kind=kind, anchor=anchor, y=4 + row * Histogram.ROW)
        )
    return Histogram(bars, marks)


def cents_of(lot: Lot, grams: Decimal) -> int | None:
    """Return what so many grams of a lot cost, to the cent; None while its cost is unknown."""
    if lot.unit_cost_cents is None:
        return None
    if grams == int(grams):
        return share_cents(lot.cost_cents, int(grams), lot.quantity_made)
    return round(lot.unit_cost_cents * Fraction(grams))


def _planned_grams(source: Place, *, besides: BottlingRun | None) -> int:
    """Grams that the other runs already planned from a vessel need."""
    planned = BottlingRun.objects.filter(source=source, status=BottlingRun.Status.PLANNED)
    return sum(
        filling.grams_needed(run.size, run.pieces_planned)
        for run in planned.select_related("size")
        if run != besides
    )
