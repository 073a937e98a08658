"""What a report draws of its rows: the picture is named in the report, and drawn here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import ngettext

from apiary_sales.reports import charts
from apiary_sales.reports.columns import Column, Unit
from apiary_sales.reports.frames.years import YEARS_SHOWN

if TYPE_CHECKING:
    from apiary_sales.reports.report import FilteredReport

Drawing = charts.Bars | charts.Lines | charts.Columns | charts.Multiples


@dataclass(frozen=True)
class Picture:
    """What a report draws of these columns: in the order of its table, or over time.

    `kind` is "bars" (a row each), "columns" (a month each), "lines" (over the rows), "years" (a
    line each over its months) or "multiples" (a small drawing for each `label`, with a mark for
    each row on its day). Of "years" the first column is drawn, and where there is a second, that
    is what was a year before.

    No columns means every column that holds a figure: one line a season; with `begins`, those
    whose name begins so. `label` is the column of the report or its frame that names the rows,
    where it is not the first; rows of one label are drawn together when they `add_up`. The figures
    `beside` are written beside the label; they are drawn where none of the columns is known.
    Lines that are `newest_first` are drawn from the last column on, the newest strongest; those
    that are `as_far_as_newest` end with its last figure.
    """

    kind: str
    title: str | Promise
    columns: tuple[str, ...] = ()
    label: str = ""
    adds_up: bool = False
    is_from_zero: bool = True
    begins: str = ""
    beside: tuple[str, ...] = ()
    newest_first: bool = False
    as_far_as_newest: bool = False
    # A line across small drawings, with its words, and the column that says which marks are hollow.
    limit: int | None = None
    limit_words: str | Promise = ""
    hollow: str = ""
    hollow_words: str | Promise = ""


@dataclass(frozen=True)
class _Row:
    """One row of a picture: its label, and the figures of its columns."""

    label: str
    figures: dict[str, Any]
    hollow: frozenset[str] = frozenset()


def draw(made: FilteredReport, picture: Picture) -> Drawing | None:
    """Return the picture of a report with these filters; None where there is nothing to draw."""
    names = names_drawn(made, picture)
    if not made.rows or not names:
        return None
    if picture.kind == "multiples":
        return _multiples(made, picture, made.columns_by_name[names[0]])
    if picture.kind == "years":
        return _years(made, picture, names)
    is_over_time = picture.kind in ("columns", "lines")
    places = range(len(made.rows)) if is_over_time else made.order
    rows = [_row(made, picture, at, names) for at in places]
    if picture.as_far_as_newest:
        known = [at for at, row in enumerate(rows) if row.figures[names[0]] is not None]
        rows = rows[: known[-1] + 1] if known else rows
    if picture.adds_up:
        rows = _added_up(rows)
    return _drawn(made, picture, names, rows)


def names_drawn(made: FilteredReport, picture: Picture) -> list[str]:
    """Return the names of the columns that a picture draws, the first the strongest."""
    found = picture.columns or [
        column.name
        for column in made.columns
        if column.is_number and column.name.startswith(picture.begins)
    ]
    # What the table leaves out because there is none of it is not drawn either.
    shown = {column.name for column in made.columns_shown}
    names = [name for name in found if name in shown]
    if picture.beside and all(row[name] is None for name in names for row in made.rows):
        names = [picture.beside[0]]
    return names[::-1] if picture.newest_first else names


def _row(made: FilteredReport, picture: Picture, at: int, names: Sequence[str]) -> _Row:
    row, record = made.rows[at], made.records[at]
    wanted = [*names, *(name for name in picture.beside if name not in names)]
    return _Row(
        label=_label(made, picture, at),
        figures={name: row[name] for name in wanted},
        hollow=frozenset(name for name in names if made.is_unfinished(record, name)),
    )


def _label(made: FilteredReport, picture: Picture, at: int) -> str:
    name = picture.label or made.columns[0].name
    column = made.columns_by_name.get(name)
    return made.text(column, made.rows[at][name]) if column else str(made.records[at][name])


def _added_up(rows: Sequence[_Row]) -> list[_Row]:
    """Add up the rows of one label, in the order in which the labels first come."""
    found: dict[str, dict[str, Any]] = {}
    for row in rows:
        sums = found.setdefault(row.label, dict.fromkeys(row.figures))
        for name, figure in row.figures.items():
            if figure is not None:
                sums[name] = (sums[name] or 0) + figure
    return [_Row(label, figures) for label, figures in found.items()]


def _drawn(
    made: FilteredReport, picture: Picture, names: Sequence[str], rows: Sequence[_Row]
) -> Drawing | None:
    columns = made.columns_by_name
    title = str(picture.title)
    series = [
        charts.Series(
            name=columns[name].label,
            values=tuple(columns[name].drawn(row.figures[name]) for row in rows),
            words=tuple(columns[name].text(row.figures[name]) for row in rows),
            hollow=frozenset(at for at, row in enumerate(rows) if name in row.hollow),
        )
        for name in names
    ]
    if picture.kind == "bars":
        return charts.bars(title, [_with_beside(columns, names, row) for row in rows], series)
    labels = [row.label for row in rows]
    write = columns[names[0]].at_axis
    months = _months(made)
    if picture.kind == "columns":
        return charts.columns(title, labels, series[0], write, months)
    return charts.lines(
        title,
        labels,
        series,
        write=write,
        is_from_zero=picture.is_from_zero,
        months=months,
        is_first_strong=picture.newest_first,
    )


def _with_beside(columns: dict[str, Column], names: Sequence[str], row: _Row) -> str:
    beside = [
        columns[name].text(figure)
        for name, figure in row.figures.items()
        if name not in names and figure is not None
    ]
    return " · ".join([row.label, *beside])


def _months(made: FilteredReport) -> list[date]:
    """Return the months of the rows, where each row is one."""
    column = made.month_column
    if column is None:
        return []
    return [date.fromisoformat(f"{row[column.name]}-01") for row in made.rows]


def _years(made: FilteredReport, picture: Picture, names: Sequence[str]) -> charts.Lines | None:
    """Draw the months of the newest years, the newest strongest."""
    now, *before = names
    column = made.columns_by_name[now]
    figures: dict[tuple[int, int], Any] = {}
    hollow: dict[int, set[int]] = {}
    months = _months(made)
    for at, month in enumerate(months):
        figures[month.year, month.month] = made.rows[at][now]
        if made.is_unfinished(made.records[at], now):
            hollow.setdefault(month.year, set()).add(month.month - 1)
    for at, month in enumerate(months if before else ()):
        # A month that is not whole in the books is known, and is compared with no other.
        figures[month.year - 1, month.month] = made.rows[at][before[0]]
    newest = max(year for year, _month in figures)
    series = []
    for year in range(newest, newest - YEARS_SHOWN, -1):
        values = [figures.get((year, month)) for month in range(1, 13)]
        series.append(
            charts.Series(
                name=str(year),
                values=tuple(column.drawn(value) for value in values),
                words=tuple(column.text(value) for value in values),
                hollow=frozenset(hollow.get(year, ())),
            )
        )
    drawn = charts.lines(
        str(picture.title),
        [date_format(date(newest, month, 1), "M") for month in range(1, 13)],
        series,
        write=column.at_axis,
        is_first_strong=True,
    )
    return drawn and replace(drawn, is_half_on_paper=bool(made.report.more_pictures))


def _multiples(made: FilteredReport, picture: Picture, column: Column) -> charts.Multiples | None:
    day = next(each for each in made.columns if each.unit == Unit.DAY)
    places: dict[str, list[int]] = {}
    for at in made.order:
        places.setdefault(_label(made, picture, at), []).append(at)
    groups = []
    for label, of_label in places.items():
        mean = made.sums(of_label)[column.name]
        runs = [
            charts.Run(
                day=made.rows[at][day.name],
                value=column.drawn(made.rows[at][column.name]),
                words=_words_of_run(made, column, day, at),
                is_hollow=bool(picture.hollow and made.records[at][picture.hollow]),
            )
            for at in sorted(of_label, key=lambda at: made.rows[at][day.name])
        ]
        groups.append(
            charts.RunGroup(label, _words_of_group(runs, column.text(mean)), tuple(runs), mean)
        )
    return charts.multiples(
        str(picture.title),
        groups,
        column.at_axis,
        picture.limit,
        str(picture.limit_words),
        str(picture.hollow_words),
    )


def _words_of_run(made: FilteredReport, column: Column, day: Column, at: int) -> str:
    row = made.rows[at]
    first = made.columns[0]
    return f"{first.text(row[first.name])}, {day.text(row[day.name])}: " + column.text(
        row[column.name]
    )


def _words_of_group(runs: Sequence[charts.Run], mean: str) -> str:
    return ngettext("%(count)s run, %(mean)s", "%(count)s runs, mean %(mean)s", len(runs)) % {
        "count": len(runs),
        "mean": mean,
    }
