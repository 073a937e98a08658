"""Fill checks for display: what a run's checks said, and the weights as a histogram."""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from django.db.models import Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, FillCheck, Size
from inventory.bottling.rules import costs, verdicts
from inventory.bottling.rules import fill_checks as rules
from inventory.physics.fill_check import FillVerdict
from inventory.shared import words

SEASON_DAYS = 365


@dataclass(frozen=True)
class CheckView:
    """A kept fill check, its verdict worked out again from its weights; None without a full sample.

    `more_wanted` is how many pieces are missing for a verdict; None before the run.
    """

    check: FillCheck
    sample: rules.Sample
    verdict: FillVerdict | None
    more_wanted: int | None
    histogram: "Histogram"
    run_cents: int | None
    season_pieces: int
    season_cents: int | None

    @property
    def reason(self) -> str:
        """The verdict and what it rests on, in the reader's language."""
        if self.verdict:
            return verdicts.sentence(self.verdict)
        return verdicts.without_verdict(self.sample, self.more_wanted)

    @property
    def state(self) -> tuple[str, str]:
        """How the check is marked: the kind of its tag and its words."""
        if self.verdict is None:
            return ("info", _("before the run") if self.check.is_before_run else _("no verdict"))
        return ("good", _("passed")) if self.verdict.passed else ("bad", _("failed"))

    @property
    def weights_milligrams(self) -> list[int]:
        return [weight.net_milligrams for weight in self.check.weights.all()]

    @property
    def average_milligrams(self) -> int:
        return self.sample.average_milligrams

    @property
    def in_words(self) -> str:
        """What the picture of the weights shows."""
        figures = {
            "count": self.sample.pieces,
            "average": words.number(rules.tenth(self.sample.average_g)),
            "label": words.number(rules.tenth(self.sample.labelled_g)),
        }
        if self.verdict is None:
            return _("%(count)s weights, %(average)s g on average; label %(label)s g") % figures
        return _(
            "%(count)s weights, %(average)s g on average; label %(label)s g, limit %(limit)s g"
        ) % (figures | {"limit": words.number(rules.tenth(self.verdict.limit_g))})


@dataclass(frozen=True)
class HistogramBar:
    """One column of the histogram, in the units of its drawing."""

    x: float
    y: float
    width: float
    height: float
    count: int


@dataclass(frozen=True)
class HistogramMark:
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

    bars: list[HistogramBar]
    marks: list[HistogramMark]

    WIDTH, HEIGHT, TOP, ROW = 320, 206, 66, 16


def usual_scheme(size: Size) -> str:
    """Return the rule that a size was checked by last, or else the one that its label suggests."""
    last = FillCheck.objects.filter(run__product__size=size).first()
    if last:
        return last.scheme
    is_american = size.declared_unit in (Size.Unit.POUND, Size.Unit.OUNCE)
    return FillCheck.Scheme.US if is_american else FillCheck.Scheme.EU


def samples_wanted(run: BottlingRun) -> dict[str, int]:
    """Return how many pieces each rule weighs of a recorded run, by its short name."""
    if not run.pieces_filled:
        return {}
    return {
        scheme: rules.sample_size_wanted(run.pieces_filled, scheme)
        for scheme in FillCheck.Scheme.values
    }


def season_pieces(size: Size) -> int:
    """Return the pieces of a size packed in the last twelve months, undone runs left out."""
    since = timezone.localdate() - timedelta(days=SEASON_DAYS)
    packed = BottlingRun.objects.filter(
        product__size=size,
        status=BottlingRun.Status.RECORDED,
        packed_lot__made_on__gt=since,
    ).aggregate(pieces=Sum("pieces_filled"))
    return packed["pieces"] or 0


def open_sample(run: BottlingRun) -> FillCheck | None:
    """Return the last sample of a recorded run that was too small, to which more can be added."""
    return FillCheck.objects.open_samples(run).prefetch_related("weights").first()


def checks_of(run: BottlingRun) -> list[CheckView]:
    """Return the kept fill checks of a run, newest first; a smaller sample that was weighed on is
    part of the later one."""
    pieces_filled, lot = run.pieces_filled, run.lot
    pieces = season_pieces(run.size)
    views = []
    for check in (
        run.fill_checks.whole()
        .select_related("checked_by", "released_by")
        .prefetch_related("weights")
    ):
        weights = [weight.net_milligrams for weight in check.weights.all()]
        sample = rules.sample_of(run.size, weights)
        verdict = rules.judge(
            run.size,
            lot_pieces=check.lot_pieces,
            scheme=check.scheme,
            weights_milligrams=weights,
        )
        overfill = Decimal(str(sample.overfill_g))
        views.append(
            CheckView(
                check=check,
                sample=sample,
                verdict=verdict,
                more_wanted=None
                if check.lot_pieces is None
                else rules.more_wanted(check.lot_pieces, check.scheme, sample.pieces),
                histogram=histogram(sample, verdict),
                run_cents=costs.honey_cents(lot, overfill * pieces_filled)
                if lot and pieces_filled
                else None,
                season_pieces=pieces,
                season_cents=costs.honey_cents(lot, overfill * pieces) if lot else None,
            )
        )
    return views


def histogram(sample: rules.Sample, verdict: FillVerdict | None) -> Histogram:
    """Sort sample weights into columns and place the label weight and the limits beside them."""
    weights_g = sample.weights_g
    lines = [
        (sample.labelled_g, _("label"), "label"),
        (sample.average_g, _("average"), "average"),
    ]
    if verdict:
        lines.insert(0, (verdict.limit_g, _("limit"), "limit"))
    if verdict and verdict.second_limit_g is not None:
        lines.insert(0, (verdict.second_limit_g, _("lowest limit"), "limit"))
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
        HistogramBar(
            x=round(column * width + 0.5, 2),
            y=round(Histogram.HEIGHT - room * count / max(counts), 2),
            width=round(width - 1, 2),
            height=round(room * count / max(counts), 2),
            count=count,
        )
        for column, count in enumerate(counts)
        if count
    ]
    marks = []
    for row, (grams, label, kind) in enumerate(sorted(lines)):
        x = round((grams - low) / (high - low) * Histogram.WIDTH, 2)
        anchor = "start" if x < Histogram.WIDTH / 2 else "end"
        marks.append(
            HistogramMark(
                x=x, label=label, grams=grams, kind=kind, anchor=anchor, y=4 + row * Histogram.ROW
            )
        )
    return Histogram(bars, marks)
