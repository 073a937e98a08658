"""A report, and what it is for some filters: its rows, its total and its picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from django.utils.functional import Promise

from apiary_sales.reports import charts
from apiary_sales.reports.columns import Column, Row
from apiary_sales.reports.forms import FilterForm
from apiary_sales.reports.frames.make import WHOLE, total

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Picture:
    """What a report draws: bars of the rows, or lines over them, of these columns.

    No columns means every column that holds a figure: one line a season. `label` is the column
    of the report or its frame that names the rows, where it is not the first; rows of one label
    are drawn together when they `add_up`.
    """

    kind: str
    title: str | Promise
    columns: tuple[str, ...] = ()
    label: str = ""
    adds_up: bool = False
    is_from_zero: bool = True


@dataclass(frozen=True)
class Report:
    """One report: a frame, what it counts in words, and how it is shown.

    `columns` gets the frame, because some reports have a column a season. `opens` gives the
    address of the lines, runs or page behind a row from the row and the filters in the address.
    `warns` says in sentences what is odd about the figures of a frame.
    """

    slug: str
    title: str | Promise
    sentence: str | Promise
    definition: tuple[str | Promise, ...]
    subject: str | Promise
    form: type[FilterForm]
    frame: Callable[[Any], pd.DataFrame]
    columns: Callable[[pd.DataFrame, Any], list[Column]]
    picture: Picture | None
    opens: Callable[[Row, dict[str, str]], str | None]
    nothing: str | Promise
    warns: Callable[[pd.DataFrame], list[str]] = lambda _frame: []


@dataclass(frozen=True)
class Cell:
    """One cell of a table on a page."""

    label: str | Promise
    shown: str
    css: str
    url: str | None = None


@dataclass(frozen=True)
class ReportPage:
    """The table of a page: the first rows, the sum of those that did not fit, and the total."""

    rows: list[list[Cell]]
    further: int
    further_cells: list[Cell]
    total: list[Cell]


@dataclass(frozen=True)
class Heading:
    """One heading of a table on a page, with what the address says to sort by its column."""

    column: Column
    sort: str
    is_sorted: bool
    is_downward: bool


class FilteredReport:
    """A report made for the filters of a valid form; reads the database once, when made.

    `sort` names the column to sort the table by, with a minus before it for the largest first;
    the report's own order stays where it names none, and in the picture.
    """

    def __init__(self, report: Report, form: FilterForm, sort: str = "") -> None:
        self.report = report
        self.asked = form.asked()
        self.in_address = form.in_address()
        self.in_words = form.in_words()
        self.frame = report.frame(self.asked)
        self.columns = report.columns(self.frame, self.asked)
        self._sort_name, self._is_downward = sort.removeprefix("-"), sort.startswith("-")

    @cached_property
    def sorted_by(self) -> Column | None:
        """The column the table is sorted by; None for the report's own order."""
        return next((each for each in self.columns if each.name == self._sort_name), None)

    @cached_property
    def warnings(self) -> list[str]:
        """What is odd about the figures, in sentences."""
        return self.report.warns(self.frame)

    @property
    def headings(self) -> list[Heading]:
        return [self._heading(column) for column in self.columns_shown]

    @cached_property
    def sorted_rows(self) -> list[dict[str, Any]]:
        """The figures of each row by column, in the order of the table."""
        return [self.rows[at] for at in self._order]

    @cached_property
    def rows(self) -> list[dict[str, Any]]:
        """The figures of each row by column, in the report's own order."""
        return [
            {column.name: column.value(record) for column in self.columns}
            for record in self.frame.to_dict("records")
        ]

    @cached_property
    def total(self) -> dict[str, Any]:
        """The sum of the rows in each column that adds up; fractions are those of the sums."""
        return self._sums(self.frame)

    @cached_property
    def columns_shown(self) -> list[Column]:
        """The columns of a page: those that say nothing here are left out."""
        return [
            column
            for column in self.columns
            if not (column.is_left_out_when_nothing and not self.total[column.name])
        ]

    @cached_property
    def picture(self) -> charts.Bars | charts.Lines | None:
        picture = self.report.picture
        if picture is None or not self.rows:
            return None
        by_name = {column.name: column for column in self.columns}
        names = picture.columns or [column.name for column in self.columns if column.is_number]
        label = picture.label or self.columns[0].name
        rows = self.rows
        if label not in by_name:
            rows = [{**row, label: name} for row, name in zip(rows, self.frame[label], strict=True)]
        if picture.adds_up:
            rows = _added_up(rows, label, names)
        name_of = by_name[label].text if label in by_name else str
        labels = [name_of(row[label]) for row in rows]
        series = [
            charts.Series(
                name=by_name[name].label,
                values=tuple(by_name[name].drawn(row[name]) for row in rows),
                words=tuple(by_name[name].text(row[name]) for row in rows),
            )
            for name in names
        ]
        if picture.kind == "bars":
            return charts.bars(str(picture.title), labels, series)
        return charts.lines(
            str(picture.title),
            labels,
            series,
            write=by_name[names[0]].at_axis,
            is_from_zero=picture.is_from_zero,
        )

    def page(self, rows_max: int) -> ReportPage:
        """Return the table of a page; its total is that of all rows, shown or not."""
        frame = self.frame.iloc[self._order]
        first, rest = frame.iloc[:rows_max], frame.iloc[rows_max:]
        records = first.to_dict("records")
        return ReportPage(
            rows=[
                self._cells(row, self._urls(record, row))
                for row, record in zip(self.sorted_rows, records, strict=False)
            ],
            further=len(rest),
            further_cells=self._cells(self._sums(rest)) if len(rest) else [],
            total=self._cells(self.total),
        )

    @cached_property
    def _order(self) -> list[int]:
        """The rows of the table by their place in the frame; what is not known comes last."""
        places = range(len(self.frame))
        column = self.sorted_by
        if column is None:
            return list(places)
        values = [column.sort_key(row[column.name]) for row in self.rows]
        known = [at for at in places if values[at] is not None]
        unknown = [at for at in places if values[at] is None]
        return sorted(known, key=values.__getitem__, reverse=self._is_downward) + unknown

    def _heading(self, column: Column) -> Heading:
        is_sorted = column == self.sorted_by
        # Figures are looked at from the largest, words and days from the first.
        goes_down = not self._is_downward if is_sorted else column.is_number
        sort = f"-{column.name}" if goes_down else column.name
        return Heading(column, sort, is_sorted, is_sorted and self._is_downward)

    def _urls(self, record: Row, row: dict[str, Any]) -> dict[str, str | None]:
        """Return the addresses behind the figures of a row; the first column opens the row."""
        return {
            self.columns[0].name: self.report.opens(record, self.in_address),
            **{
                column.name: column.url(record, self.in_address)
                for column in self.columns
                if column.url and row[column.name]
            },
        }

    def _sums(self, frame: pd.DataFrame) -> dict[str, Any]:
        sums = {
            str(name): total(frame, name) for name, dtype in frame.dtypes.items() if dtype == WHOLE
        }
        return {
            column.name: column.value(sums) if column.adds_up or column.is_derived else None
            for column in self.columns
        }

    def _cells(
        self, values: dict[str, Any], urls: dict[str, str | None] | None = None
    ) -> list[Cell]:
        """Return the cells of a row with the addresses behind them, or, without, of a sum."""
        is_sum = urls is None
        return [
            Cell(
                column.label,
                # What is no sum has no place in a row of sums.
                ""
                if is_sum and not column.adds_up and not column.is_derived
                else column.shown(values[column.name]),
                column.css,
                None if urls is None else urls.get(column.name),
            )
            for column in self.columns_shown
        ]


def _added_up(rows: list[dict[str, Any]], label: str, names: Sequence[str]) -> list[dict[str, Any]]:
    """Add up the rows of one label; the largest comes first, what is not known last."""
    found: dict[Any, dict[str, Any]] = {}
    for row in rows:
        sums = found.setdefault(row[label], {label: row[label], **dict.fromkeys(names)})
        for name in names:
            if row[name] is not None:
                sums[name] = (sums[name] or 0) + row[name]
    return sorted(
        found.values(),
        key=lambda sums: (sums[names[0]] is None, -(sums[names[0]] or 0)),
    )
