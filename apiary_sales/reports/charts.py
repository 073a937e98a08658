"""Pictures of reports: where the bars, lines and marks of a drawing go.

Positions across are percentages, so that a drawing fills a phone and a sheet of paper alike while
its words stay readable; positions down are pixels. Geometry is drawn, not kept: floats do here.
"""

import math
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import pairwise

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import ngettext

from apiary_sales.reports.frames.months import month_label
from inventory.shared.days import months_between

BARS_MAX = 12
PANELS_MAX = 12
SERIES_MAX = 7

# The room of a drawing on the narrowest phone and on a sheet of paper or a desk, and what a letter
# takes of it, in pixels.
PHONE_WIDTH, PAPER_WIDTH = 250, 640
LETTER_WIDTH, TICK_LETTER_WIDTH = 7.6, 7.2

WORDS_HEIGHT = 20
BAR_HEIGHT = 20
ROW_GAP = 8
# The rest of the width is for the words at the end of the longest bar.
BARS_WIDTH, BARS_WIDTH_MIN = 0.68, 0.3
LABEL_LETTERS, LABEL_LINES = 34, 2

LINES_HEIGHT = 260
TOP, BOTTOM = 14, 228
STEPS = 4

PANEL_HEIGHT = 112
PANEL_TOP, PANEL_BOTTOM = 10, 84
PANEL_STEPS = 2

# On paper drawings are smaller, small ones stand three in a row, and each has its title and frame.
PAPER_ZOOM, PAPER_ZOOM_OF_TALL, PAPER_PANELS, PAPER_FRAME = 0.75, 0.65, 3, 60
PANEL_WORDS_HEIGHT = 34
TALL = 400

# How much of its place a column fills.
COLUMN_WIDTH = 0.72

Figure = int | Decimal | None


@dataclass(frozen=True)
class Series:
    """One kind of bar or one line: a name, and the figures with their words."""

    name: str | Promise
    values: tuple[Figure, ...]
    words: tuple[str, ...]
    # Which of them are of a time that is not over, or are not measured: drawn hollow.
    hollow: frozenset[int] = frozenset()


@dataclass(frozen=True)
class ChartBar:
    series: int
    words: str
    x: str
    width: str
    y: int
    words_x: str
    words_y: int
    is_hollow: bool = False


@dataclass(frozen=True)
class LabelLine:
    words: str
    y: int


@dataclass(frozen=True)
class BarRow:
    """A row of bars under its words; what is down is counted from the top of the row."""

    label: tuple[LabelLine, ...]
    bars: tuple[ChartBar, ...]
    height: int


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

    @property
    def is_tall(self) -> bool:
        """Whether it is smaller on paper than others, and its rows stand there in columns, so that
        there is room for its table.
        """
        return self.height > TALL

    @property
    def height_on_paper(self) -> float:
        if not self.is_tall:
            return self.height * PAPER_ZOOM + PAPER_FRAME
        rows = math.ceil(len(self.rows) / PAPER_PANELS)
        return rows * max(row.height for row in self.rows) * PAPER_ZOOM_OF_TALL + PAPER_FRAME


@dataclass(frozen=True)
class ChartMark:
    x: str
    y: float
    words: str
    is_hollow: bool = False


@dataclass(frozen=True)
class Stroke:
    x1: str
    y1: float
    x2: str
    y2: float
    # It leads to a figure of a time that is not over.
    is_open: bool = False


@dataclass(frozen=True)
class ChartLine:
    series: int
    name: str
    marks: tuple[ChartMark, ...]
    strokes: tuple[Stroke, ...]
    is_strong: bool = False


@dataclass(frozen=True)
class Tick:
    """Words at an axis; those with `is_wide` are shown where there is more room than on a phone,
    those with `is_narrow` on a phone alone.
    """

    position: str
    y: float
    words: str
    anchor: str = "start"
    line_y: float = 0
    is_wide: bool = False
    is_narrow: bool = False


@dataclass(frozen=True)
class Upright:
    """What drawings with a scale at their left share; `axis_width` is the room of its words."""

    title: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    axis_width: int
    description: str
    has_hollow: bool

    height = LINES_HEIGHT
    left_out = ""

    @property
    def height_on_paper(self) -> float:
        return self.height * PAPER_ZOOM + PAPER_FRAME


@dataclass(frozen=True)
class Lines(Upright):
    """Lines over time, each with marks of its own; a month that is not known breaks the line."""

    lines: tuple[ChartLine, ...]
    # On paper it takes half of the width, beside another.
    is_half_on_paper: bool = False

    template = "reports/_lines.html"

    @property
    def height_on_paper(self) -> float:
        whole = super().height_on_paper
        return whole / 2 if self.is_half_on_paper else whole

    @property
    def series(self) -> tuple[tuple[int, str], ...]:
        """The lines of the key, in the order of the table: a strong line is of its last column."""
        named = tuple((line.series, line.name) for line in self.lines)
        return named[::-1] if self.lines[0].is_strong else named


@dataclass(frozen=True)
class ChartColumn:
    x: str
    y: float
    width: str
    height: float
    words: str
    is_hollow: bool


@dataclass(frozen=True)
class Columns(Upright):
    """One column for each month; that of a month which is not over is hollow."""

    columns: tuple[ChartColumn, ...]
    zero_y: float
    # Where a year begins.
    years: tuple[str, ...]

    template = "reports/_columns.html"


@dataclass(frozen=True)
class Panel:
    """One of several small drawings with the same scales: its marks over time, and their mean."""

    title: str
    words: str
    marks: tuple[ChartMark, ...]
    mean_y: float | None


@dataclass(frozen=True)
class Multiples(Upright):
    """Small drawings side by side, each with the same scales, and a limit in all of them."""

    panels: tuple[Panel, ...]
    hollow_words: str
    limit_y: float | None
    limit_words: str
    panels_left_out: int

    template = "reports/_multiples.html"
    height = PANEL_HEIGHT

    @property
    def is_tall(self) -> bool:
        """As of bars: whether it has more rows of small drawings than two."""
        return len(self.panels) > 2 * PAPER_PANELS

    @property
    def height_on_paper(self) -> float:
        rows = math.ceil(len(self.panels) / PAPER_PANELS)
        zoom = PAPER_ZOOM_OF_TALL if self.is_tall else PAPER_ZOOM
        return rows * (PANEL_HEIGHT + PANEL_WORDS_HEIGHT) * zoom + PAPER_FRAME

    @property
    def left_out(self) -> str:  # type: ignore[override]
        if not self.panels_left_out:
            return ""
        return ngettext(
            "%(more)s more is in the table.",
            "%(more)s more are in the table.",
            self.panels_left_out,
        ) % {"more": self.panels_left_out}


@dataclass(frozen=True)
class Run:
    """One mark of a small drawing: its day, figure and words."""

    day: date
    value: Figure
    words: str
    is_hollow: bool = False


@dataclass(frozen=True)
class RunGroup:
    """What one small drawing shows: its marks, and their mean with its words."""

    title: str
    words: str
    runs: tuple[Run, ...]
    mean: Figure


def bars(title: str, labels: Sequence[str], series: Sequence[Series]) -> Bars | None:
    """Draw the first rows as bars; None when there is no figure to draw."""
    shown = min(len(labels), BARS_MAX)
    known = [float(value) for one in series for value in one.values[:shown] if value is not None]
    if not known:
        return None
    low, high = min(0.0, *known), max(0.0, *known)
    longest = max(len(words) for one in series for words in one.words[:shown])
    room = 1 - (longest * LETTER_WIDTH + 8) / PHONE_WIDTH
    width = min(BARS_WIDTH, max(BARS_WIDTH_MIN, room))
    scale = _BarScale(low, width / ((high - low) or 1.0))
    rows = []
    for index in range(shown):
        lines = _wrapped(labels[index])
        below = WORDS_HEIGHT * len(lines)
        rows.append(
            BarRow(
                label=tuple(
                    LabelLine(words, WORDS_HEIGHT * (number + 1) - 5)
                    for number, words in enumerate(lines)
                ),
                bars=tuple(
                    _bar(number, one, index, scale, below + number * BAR_HEIGHT)
                    for number, one in enumerate(series)
                ),
                height=below + BAR_HEIGHT * len(series) + ROW_GAP,
            )
        )
    return Bars(
        title=title,
        rows=tuple(rows),
        series=tuple((number + 1, str(one.name)) for number, one in enumerate(series)),
        zero=_percent(-low * scale.per_unit),
        height=sum(row.height for row in rows),
        description=_described(labels[:shown], series),
        left_out=_left_out(shown, len(labels)),
    )


def lines(
    title: str,
    labels: Sequence[str],
    series: Sequence[Series],
    write: Callable[[Decimal], str] = str,
    is_from_zero: bool = True,
    months: Sequence[date] = (),
    is_first_strong: bool = False,
) -> Lines | None:
    """Draw each series as a line over the labels; None when there is no figure to draw.

    `write` says a figure of the scale in words. A scale not `is_from_zero` shows small changes.
    `months` are the first days of the labels where these are months: their axis has the years.
    """
    series = [one for one in series if any(value is not None for value in one.values)][:SERIES_MAX]
    known = [float(value) for one in series for value in one.values if value is not None]
    if not known:
        return None
    ends = (0.0,) if is_from_zero else ()
    scale = _scale(min([*ends, *known]), max([*ends, *known]))
    up, axis_width = _ticks_up(scale, write, TOP, BOTTOM)
    places = [_across(index, len(labels)) for index in range(len(labels))]
    return Lines(
        title=title,
        lines=tuple(
            _line(number, one, places, scale, is_first_strong and number == 1)
            for number, one in enumerate(series, start=1)
        ),
        across=_ticks_across(places, labels, months, axis_width, LINES_HEIGHT - 10),
        up=up,
        axis_width=axis_width,
        description=_described(labels, series),
        has_hollow=any(one.hollow for one in series),
    )


def columns(
    title: str,
    labels: Sequence[str],
    one: Series,
    write: Callable[[Decimal], str] = str,
    months: Sequence[date] = (),
) -> Columns | None:
    """Draw a column for each label, from nothing up or down; None without a figure to draw."""
    known = [float(value) for value in one.values if value is not None]
    if not known:
        return None
    scale = _scale(min(0.0, *known), max(0.0, *known))
    up, axis_width = _ticks_up(scale, write, TOP, BOTTOM)
    step = 1 / len(labels)
    places = [step * (index + 0.5) for index in range(len(labels))]
    zero_y = _down(0, scale)
    drawn = []
    for index, value in enumerate(one.values):
        if value is None:
            continue
        y = _down(float(value), scale)
        drawn.append(
            ChartColumn(
                x=_percent(places[index] - step * COLUMN_WIDTH / 2),
                y=min(y, zero_y),
                width=_percent(step * COLUMN_WIDTH),
                height=round(abs(y - zero_y), 1),
                words=f"{labels[index]}: {one.words[index]}",
                is_hollow=index in one.hollow,
            )
        )
    return Columns(
        title=title,
        columns=tuple(drawn),
        zero_y=zero_y,
        years=tuple(
            _percent(step * index)
            for index, month in enumerate(months)
            if index and month.month == 1
        ),
        across=_ticks_across(places, labels, months, axis_width, LINES_HEIGHT - 10),
        up=up,
        axis_width=axis_width,
        description=_described(labels, [one]),
        has_hollow=bool(one.hollow),
    )


def multiples(
    title: str,
    groups: Sequence[RunGroup],
    write: Callable[[Decimal], str] = str,
    limit: Figure = None,
    limit_words: str = "",
    hollow_words: str = "",
) -> Multiples | None:
    """Draw each group by itself over the days of all, with one scale; None without a figure."""
    runs = [run for group in groups for run in group.runs if run.value is not None]
    if not runs:
        return None
    figures = [float(run.value) for run in runs if run.value is not None]
    ends = () if limit is None else (float(limit),)
    scale = _scale(min([*figures, *ends]), max([*figures, *ends]), PANEL_STEPS)
    up, axis_width = _ticks_up(scale, write, PANEL_TOP, PANEL_BOTTOM)
    first, last = min(run.day for run in runs), max(run.day for run in runs)
    shown = groups[:PANELS_MAX]
    return Multiples(
        title=title,
        panels=tuple(_panel(group, first, last, scale) for group in shown),
        across=_ticks_of_days(first, last, axis_width, PANEL_HEIGHT - 8),
        up=up,
        axis_width=axis_width,
        description="; ".join(f"{group.title}: {group.words}" for group in groups),
        has_hollow=any(run.is_hollow for group in shown for run in group.runs),
        hollow_words=hollow_words,
        limit_y=None if limit is None else _down(float(limit), scale, PANEL_TOP, PANEL_BOTTOM),
        limit_words=limit_words,
        panels_left_out=len(groups) - len(shown),
    )


@dataclass(frozen=True)
class _BarScale:
    low: float
    per_unit: float


def _bar(number: int, one: Series, index: int, scale: _BarScale, y: int) -> ChartBar:
    figure = float(one.values[index] or 0)
    left, right = min(figure, 0.0) - scale.low, max(figure, 0.0) - scale.low
    return ChartBar(
        series=number + 1,
        words=one.words[index],
        x=_percent(left * scale.per_unit),
        width=_percent((right - left) * scale.per_unit),
        y=y,
        words_x=_percent(right * scale.per_unit),
        words_y=y + BAR_HEIGHT - 6,
        is_hollow=index in one.hollow,
    )


def _wrapped(label: str) -> list[str]:
    """Return a label in as many lines as there are for it; what does not fit is cut off."""
    return textwrap.wrap(label, LABEL_LETTERS, max_lines=LABEL_LINES, placeholder=" …") or [""]


def _line(
    number: int, one: Series, places: Sequence[float], scale: list[float], is_strong: bool
) -> ChartLine:
    marks = [
        None
        if value is None
        else ChartMark(
            _percent(places[index]),
            _down(float(value), scale),
            one.words[index],
            index in one.hollow,
        )
        for index, value in enumerate(one.values)
    ]
    return ChartLine(
        series=number,
        name=str(one.name),
        marks=tuple(mark for mark in marks if mark),
        strokes=tuple(
            Stroke(left.x, left.y, right.x, right.y, right.is_hollow)
            for left, right in pairwise(marks)
            if left and right
        ),
        is_strong=is_strong,
    )


def _panel(group: RunGroup, first: date, last: date, scale: list[float]) -> Panel:
    return Panel(
        title=group.title,
        words=group.words,
        marks=tuple(
            ChartMark(
                _percent(_across_days(run.day, first, last)),
                _down(float(run.value), scale, PANEL_TOP, PANEL_BOTTOM),
                run.words,
                run.is_hollow,
            )
            for run in group.runs
            if run.value is not None
        ),
        mean_y=(
            None if group.mean is None else _down(float(group.mean), scale, PANEL_TOP, PANEL_BOTTOM)
        ),
    )


def _ticks_up(
    scale: list[float], write: Callable[[Decimal], str], top: int, bottom: int
) -> tuple[tuple[Tick, ...], int]:
    """Return the words of a scale, and the room in pixels that they take."""
    ticks = tuple(
        Tick(
            "100%",
            _down(step, scale, top, bottom) + 4,
            write(Decimal(str(step))),
            "end",
            line_y=_down(step, scale, top, bottom),
        )
        for step in scale
    )
    return ticks, math.ceil(max(len(tick.words) for tick in ticks) * LETTER_WIDTH)


def _ticks_across(
    places: Sequence[float],
    labels: Sequence[str],
    months: Sequence[date],
    axis_width: int,
    y: float,
) -> tuple[Tick, ...]:
    """Return as many labels as fit on a phone, and as many as fit where there is more room."""
    found: dict[tuple[int, str], set[str]] = {}
    anchors = {}
    for width, room in (("narrow", PHONE_WIDTH), ("wide", PAPER_WIDTH)):
        letters = (room - axis_width) / TICK_LETTER_WIDTH
        for index, words in _labels_that_fit(places, labels, months, letters):
            anchor = _anchor(places[index], len(words) / letters)
            found.setdefault((index, words), set()).add(width)
            anchors[index, words] = anchor
    return tuple(
        Tick(
            _percent(places[index]),
            y,
            words,
            anchors[index, words],
            is_wide=widths == {"wide"},
            is_narrow=widths == {"narrow"},
        )
        for (index, words), widths in sorted(found.items())
    )


def _ticks_of_days(first: date, last: date, axis_width: int, y: float) -> tuple[Tick, ...]:
    """Return the months between two days, each at its first day."""
    months = [month for month in months_between(first, last) if month >= first]
    months = months or [first]
    places = [_across_days(month, first, last) for month in months]
    labels = [month_label(month) for month in months]
    return _ticks_across(places, labels, months, axis_width, y)


def _labels_that_fit(
    places: Sequence[float], labels: Sequence[str], months: Sequence[date], letters: float
) -> list[tuple[int, str]]:
    """Return the most labels that leave each other room, at regular steps."""
    steps = _month_steps(months) if months else _plain_steps(len(labels))
    chosen: list[tuple[int, str]] = []
    for indexes in steps:
        chosen = [
            (index, _month_words(indexes, at, months) if months else labels[index])
            for at, index in enumerate(indexes)
        ]
        if chosen and _leave_room(chosen, places, letters):
            return chosen
    return chosen[:1]


def _plain_steps(count: int) -> list[list[int]]:
    return [list(range(0, count, every)) for every in range(1, count + 1)]


def _month_steps(months: Sequence[date]) -> list[list[int]]:
    """Return the months at each step: all, each other, quarters, halves, years, some years."""
    steps = [
        [index for index, month in enumerate(months) if (month.month - 1) % every == 0]
        for every in (1, 2, 3, 6, 12)
    ]
    years = [
        [
            index
            for index, month in enumerate(months)
            if month.month == 1 and month.year % every == 0
        ]
        for every in (2, 5, 10)
    ]
    return [*steps, *years, [0]]


def _month_words(indexes: Sequence[int], at: int, months: Sequence[date]) -> str:
    """Name a month, with its year where the year is another than that of the label before."""
    month = months[indexes[at]]
    if at and months[indexes[at - 1]].year == month.year:
        return date_format(month, "M")
    return month_label(month)


def _leave_room(chosen: Sequence[tuple[int, str]], places: Sequence[float], letters: float) -> bool:
    end = -1.0
    for index, words in chosen:
        middle, size = places[index] * letters, len(words)
        start = {
            "start": middle,
            "middle": middle - size / 2,
            "end": middle - size,
        }[_anchor(places[index], size / letters)]
        if start < end + 1:
            return False
        end = start + size
    return True


def _anchor(place: float, width: float) -> str:
    """Keep the words of a label within the drawing."""
    if place - width / 2 < 0:
        return "start"
    return "end" if place + width / 2 > 1 else "middle"


def _across(index: int, count: int) -> float:
    """Leave room at both sides for half a mark."""
    return 0.5 if count == 1 else 0.04 + 0.92 * index / (count - 1)


def _across_days(day: date, first: date, last: date) -> float:
    if first == last:
        return 0.5
    return 0.04 + 0.92 * (day - first).days / (last - first).days


def _down(value: float, scale: list[float], top: int = TOP, bottom: int = BOTTOM) -> float:
    return round(bottom - (value - scale[0]) / (scale[-1] - scale[0]) * (bottom - top), 1)


def _scale(low: float, high: float, steps: int = STEPS) -> list[float]:
    """Return round steps that reach from `low` to `high`, at most a handful."""
    rough = ((high - low) or 1.0) / steps
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
