"""Pictures of reports: where the bars, lines and marks of a drawing go.

Positions across are percentages, so that a drawing fills a phone and a sheet of paper alike while
its words stay readable; positions down are pixels. Geometry is drawn, not kept: floats do here.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from django.utils.functional import Promise
from django.utils.translation import ngettext

BARS_MAX = 15
LABELS_MAX = 6
# Number of letters that fit in a row on a phone.
LABELS_WIDTH = 36
SERIES_MAX = 7

WORDS_HEIGHT = 24
BAR_HEIGHT = 20
ROW_GAP = 10
# The rest of the width is for the words at the end of the longest bar.
BARS_WIDTH = 0.68

LINES_HEIGHT = 260
TOP, BOTTOM = 14, 228
STEPS = 4

Figure = int | Decimal | None


@dataclass(frozen=True)
class Series:
    """One kind of bar or one line: a name, and the figures with their words."""

    name: str | Promise
    values: tuple[Figure, ...]
    words: tuple[str, ...]


@dataclass(frozen=True)
class ChartBar:
    series: int
    words: str
    x: str
    width: str
    y: int
    words_x: str
    words_y: int


@dataclass(frozen=True)
class BarRow:
    label: str
    label_y: int
    bars: tuple[ChartBar, ...]


@dataclass(frozen=True)
class Bars:
    """Bars lying side by side under the words of their row; those below nothing go left."""

    title: str
    rows: tuple[BarRow, ...]
    series: tuple[tuple[int, str], ...]
    zero: str
    height: int
    description: str
    left_out: str

    template = "reports/_bars.html"


@dataclass(frozen=True)
class ChartMark:
    x: str
    y: float
    words: str


@dataclass(frozen=True)
class Stroke:
    x1: str
    y1: float
    x2: str
    y2: float


@dataclass(frozen=True)
class ChartLine:
    series: int
    name: str
    marks: tuple[ChartMark, ...]
    strokes: tuple[Stroke, ...]


@dataclass(frozen=True)
class Tick:
    position: str
    y: float
    words: str
    anchor: str = "start"
    line_y: float = 0


@dataclass(frozen=True)
class Lines:
    """Lines over time, each with marks of its own; a month that is not known breaks the line."""

    title: str
    lines: tuple[ChartLine, ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    description: str

    template = "reports/_lines.html"
    height = LINES_HEIGHT
    left_out = ""

    @property
    def series(self) -> tuple[tuple[int, str], ...]:
        return tuple((line.series, line.name) for line in self.lines)


def bars(title: str, labels: Sequence[str], series: Sequence[Series]) -> Bars | None:
    """Draw the first rows as bars; None when there is no figure to draw."""
    shown = min(len(labels), BARS_MAX)
    known = [float(value) for one in series for value in one.values[:shown] if value is not None]
    if not known:
        return None
    low, high = min(0.0, *known), max(0.0, *known)
    span = (high - low) or 1.0
    row_height = WORDS_HEIGHT + BAR_HEIGHT * len(series) + ROW_GAP
    rows = []
    for index in range(shown):
        top = index * row_height
        rows.append(
            BarRow(
                label=labels[index],
                label_y=top + WORDS_HEIGHT - 7,
                bars=tuple(
                    _bar(number, one, index, low, span, top + WORDS_HEIGHT + number * BAR_HEIGHT)
                    for number, one in enumerate(series)
                ),
            )
        )
    return Bars(
        title=title,
        rows=tuple(rows),
        series=tuple((number + 1, str(one.name)) for number, one in enumerate(series)),
        zero=_percent((0 - low) / span * BARS_WIDTH),
        height=shown * row_height,
        description=_described(labels[:shown], series),
        left_out=_left_out(shown, len(labels)),
    )


def lines(
    title: str,
    labels: Sequence[str],
    series: Sequence[Series],
    write: Callable[[Decimal], str] = str,
    is_from_zero: bool = True,
) -> Lines | None:
    """Draw each series as a line over the labels; None when there is no figure to draw.

    `write` says a figure of the scale in words. A scale not `is_from_zero` shows small changes.
    """
    series = series[:SERIES_MAX]
    known = [float(value) for one in series for value in one.values if value is not None]
    if not known:
        return None
    ends = (0.0,) if is_from_zero else ()
    scale = _scale(min([*ends, *known]), max([*ends, *known]))
    return Lines(
        title=title,
        lines=tuple(
            _line(number, one, len(labels), scale) for number, one in enumerate(series, start=1)
        ),
        across=tuple(_ticks_across(labels)),
        up=tuple(
            Tick(
                "0",
                _down(step, scale) - 4,
                write(Decimal(str(step))),
                line_y=_down(step, scale),
            )
            for step in scale
        ),
        description=_described(labels, series),
    )


def _bar(number: int, one: Series, index: int, low: float, span: float, y: int) -> ChartBar:
    figure = float(one.values[index] or 0)
    left, right = min(figure, 0.0) - low, max(figure, 0.0) - low
    return ChartBar(
        series=number + 1,
        words=one.words[index],
        x=_percent(left / span * BARS_WIDTH),
        width=_percent((right - left) / span * BARS_WIDTH),
        y=y,
        words_x=_percent(right / span * BARS_WIDTH),
        words_y=y + BAR_HEIGHT - 6,
    )


def _line(number: int, one: Series, count: int, scale: list[float]) -> ChartLine:
    marks = [
        None
        if value is None
        else ChartMark(_across(index, count), _down(float(value), scale), one.words[index])
        for index, value in enumerate(one.values)
    ]
    return ChartLine(
        series=number,
        name=str(one.name),
        marks=tuple(mark for mark in marks if mark),
        strokes=tuple(
            Stroke(left.x, left.y, right.x, right.y)
            for left, right in pairwise(marks)
            if left and right
        ),
    )


def _ticks_across(labels: Sequence[str]) -> list[Tick]:
    longest = max(map(len, labels))
    fit = min(max(LABELS_WIDTH // (longest + 2), 2), LABELS_MAX)
    every = max(1, math.ceil(len(labels) / fit))
    return [
        Tick(
            _across(index, len(labels)),
            LINES_HEIGHT - 10,
            labels[index],
            _anchor(index, len(labels)),
        )
        for index in range(0, len(labels), every)
    ]


def _anchor(index: int, count: int) -> str:
    """Keep the words of the first and the last label within the drawing."""
    if count == 1 or 0 < index < count - 1:
        return "middle"
    return "start" if index == 0 else "end"


def _across(index: int, count: int) -> str:
    """Leave room at both sides, for the words of the scale and for half a mark."""
    return _percent(0.5 if count == 1 else 0.04 + 0.92 * index / (count - 1))


def _down(value: float, scale: list[float]) -> float:
    return round(BOTTOM - (value - scale[0]) / (scale[-1] - scale[0]) * (BOTTOM - TOP), 1)


def _scale(low: float, high: float) -> list[float]:
    """Return round steps that reach from `low` to `high`, at most a handful."""
    rough = ((high - low) or 1.0) / STEPS
    power = 10 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1, 2, 2.5, 5, 10) if power * factor >= rough)
    first, last = math.floor(low / step), math.ceil(high / step)
    return [step * number for number in range(first, max(last, first + 1) + 1)]


def _percent(fraction: float) -> str:
    return f"{fraction * 100:.2f}%"


def _described(labels: Sequence[str], series: Sequence[Series]) -> str:
    """Say the figures in words, for those who do not see the drawing."""
    return "; ".join(
        f"{one.name}: "
        + ", ".join(f"{label} {words}" for label, words in zip(labels, one.words, strict=False))
        for one in series
    )


def _left_out(shown: int, there: int) -> str:
    if shown == there:
        return ""
    return ngettext(
        "The chart shows the first %(shown)s rows; %(more)s more is in the table.",
        "The chart shows the first %(shown)s rows; %(more)s more are in the table.",
        there - shown,
    ) % {"shown": shown, "more": there - shown}
