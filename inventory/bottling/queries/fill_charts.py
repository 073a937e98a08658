"""The control chart of a size: the average of each fill check over time, with its limits."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.utils.formats import date_format
from django.utils.functional import cached_property
from django.utils.timezone import localdate
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.bottling.models import FillCheck, Size
from inventory.bottling.rules import fill_checks as rules
from inventory.physics import control_chart
from inventory.physics.control_chart import ControlLimits
from inventory.physics.fill_check import DECIMALS_G
from inventory.shared import words

# More than a year of weekly checks; the chart of a phone has no room for more.
CHECKS_SHOWN_MAX = 60
STEPS = 4


@dataclass(frozen=True)
class ChartPoint:
    """One check on the chart, with the limits for an average of so many pieces, in grams."""

    check: FillCheck
    sample: rules.Sample
    limits_g: tuple[float, float] | None

    @property
    def is_outside(self) -> bool:
        """Whether the average is beyond its limits, which a check before the run never is."""
        if self.limits_g is None or self.check.is_before_run:
            return False
        low, high = self.limits_g
        average = self.sample.average_g
        return round(average - low, DECIMALS_G) < 0 or round(high - average, DECIMALS_G) < 0

    @property
    def state(self) -> tuple[str, str]:
        """How the point is marked in the table: the kind of its tag and its words."""
        if self.check.is_before_run:
            return "info", _("before the run")
        if self.is_outside:
            return "bad", _("outside the limits")
        return ("good", _("within the limits")) if self.limits_g else ("", _("no limits yet"))

    @property
    def lower_limit_milligrams(self) -> int | None:
        return round(self.limits_g[0] * 1000) if self.limits_g else None

    @property
    def upper_limit_milligrams(self) -> int | None:
        return round(self.limits_g[1] * 1000) if self.limits_g else None

    @property
    def kind(self) -> str:
        """How the point is drawn."""
        if self.check.is_before_run:
            return "before"
        return "outside" if self.is_outside else "sample"

    @property
    def in_words(self) -> str:
        return _("%(day)s: %(average)s g, %(pieces)s, %(state)s") % {
            "day": date_format(localdate(self.check.checked_at)),
            "average": words.number(rules.tenth(self.sample.average_g)),
            "pieces": words.pieces(self.sample.pieces),
            "state": self.state[1],
        }


@dataclass(frozen=True)
class FillChart:
    """The fill checks of a size, oldest first, with centre line and limits.

    `limits` is None where nothing was weighed after a run. Checks before a run are shown and do
    not count for centre and limits, since the nozzle was set after them.
    """

    size: Size
    points: list[ChartPoint]
    limits: ControlLimits | None

    @property
    def labelled_g(self) -> float:
        return float(self.size.declared_grams)

    @property
    def labelled_milligrams(self) -> int:
        return round(self.size.declared_grams * 1000)

    @property
    def centre_milligrams(self) -> int | None:
        return round(self.limits.centre_g * 1000) if self.limits else None

    @property
    def sigma_milligrams(self) -> int | None:
        """The standard deviation of one piece, which the limits come from."""
        if self.limits is None or self.limits.sigma_g is None:
            return None
        return round(self.limits.sigma_g * 1000)

    @property
    def is_provisional(self) -> bool:
        """Whether there are too few samples to rely on the limits."""
        return self.limits is None or self.limits.is_provisional

    @property
    def outside(self) -> int:
        return sum(point.is_outside for point in self.points)

    @property
    def message(self) -> str:
        """What the chart says."""
        judged = sum(not point.check.is_before_run for point in self.points)
        if self.limits is None or self.limits.sigma_g is None:
            return _("There are no limits yet: they need two checks of two pieces or more.")
        if self.outside:
            return ngettext(
                "%(outside)s of %(all)s averages is outside the limits.",
                "%(outside)s of %(all)s averages are outside the limits.",
                self.outside,
            ) % {"outside": self.outside, "all": judged}
        return _("All %(all)s averages are within the limits: the filling is steady.") % {
            "all": judged
        }

    @cached_property
    def drawing(self) -> "ChartDrawing":
        return draw(self)


@dataclass(frozen=True)
class Mark:
    """A point of the drawing; `x` in percent, `y` in pixels."""

    x: str
    y: float
    kind: str
    words: str


@dataclass(frozen=True)
class ControlLine:
    """A line of the drawing, of a kind: "path", "limit", "centre", "label" or "grid"."""

    kind: str
    x1: str
    y1: float
    x2: str
    y2: float


@dataclass(frozen=True)
class Words:
    """Words on the drawing, at a place."""

    x: str
    y: float
    anchor: str
    text: str


@dataclass(frozen=True)
class ChartDrawing:
    """Where lines, points and words go: across in percent, so that it fills a phone and a desk."""

    strokes: list[ControlLine]
    marks: list[Mark]
    words: list[Words]

    HEIGHT, TOP, BOTTOM = 280, 14, 244


def chart_of(size: Size) -> FillChart:
    """Return the last fill checks of a size as a control chart, in two queries."""
    checks = (
        FillCheck.objects.whole()
        .filter(run__product__size=size)
        .select_related("run")
        .prefetch_related("weights")[:CHECKS_SHOWN_MAX]
    )
    found = [
        (
            check,
            rules.sample_of(size, [weight.net_milligrams for weight in check.weights.all()]),
        )
        for check in reversed(checks)
    ]
    judged = [sample.weights_g for check, sample in found if not check.is_before_run]
    limits = control_chart.control_limits(judged) if judged else None
    return FillChart(
        size=size,
        points=[
            ChartPoint(check, sample, limits.of(sample.pieces) if limits else None)
            for check, sample in found
        ],
        limits=limits,
    )


def draw(chart: FillChart) -> ChartDrawing:
    """Place the points of a chart and its lines; a point's limits are as wide as its column."""
    figures = [chart.labelled_g, *(point.sample.average_g for point in chart.points)]
    figures += [limit for point in chart.points for limit in point.limits_g or ()]
    scale = _scale(min(figures), max(figures))

    def down(grams: float) -> float:
        share = (grams - scale[0]) / (scale[-1] - scale[0])
        return round(ChartDrawing.BOTTOM - share * (ChartDrawing.BOTTOM - ChartDrawing.TOP), 1)

    def level(kind: str, grams: float, x1: str = "0%", x2: str = "100%") -> ControlLine:
        return ControlLine(kind, x1, down(grams), x2, down(grams))

    count = len(chart.points)
    half = 0.43 / max(count, 1)
    middles = [0.14 + half + 2 * half * index for index in range(count)]
    strokes = [level("grid", grams) for grams in scale]
    strokes.append(level("label", chart.labelled_g))
    if chart.limits:
        strokes.append(level("centre", chart.limits.centre_g))
    marks = []
    for middle, point in zip(middles, chart.points, strict=True):
        for limit in point.limits_g or ():
            strokes.append(level("limit", limit, _percent(middle - half), _percent(middle + half)))
        y = down(point.sample.average_g)
        marks.append(Mark(_percent(middle), y, point.kind, point.in_words))
    judged = [mark for mark in marks if mark.kind != "before"]
    strokes += [ControlLine("path", one.x, one.y, two.x, two.y) for one, two in pairwise(judged)]
    return ChartDrawing(strokes, marks, [*_grams(scale, down), *_days(chart.points, middles)])


def _grams(scale: Sequence[float], down) -> list[Words]:
    return [
        Words("0%", down(grams) - 4, "start", f"{words.number(rules.tenth(grams))} g")
        for grams in scale
    ]


def _days(points: Sequence[ChartPoint], middles: Sequence[float]) -> list[Words]:
    """Write the days of the first and the last point."""
    return [
        Words(
            _percent(middles[index]),
            ChartDrawing.HEIGHT - 12,
            anchor,
            date_format(localdate(points[index].check.checked_at)),
        )
        for index, anchor in ((0, "start"), (-1, "end"))[: len(points)]
    ]


def _scale(low: float, high: float) -> list[float]:
    """Return round steps of grams that reach from `low` to `high`, at most a handful."""
    rough = (high - low or 1.0) / STEPS
    power = 10 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)
    first, last = math.floor(low / step), math.ceil(high / step)
    return [step * number for number in range(first, max(last, first + 1) + 1)]


def _percent(share: float) -> str:
    return f"{share * 100:.2f}%"
