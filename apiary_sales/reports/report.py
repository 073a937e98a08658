"""A report, and what it is for some filters: its rows, its total and its picture."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any

from django.utils import timezone
from django.utils.functional import Promise
from django.utils.html import format_html
from django.utils.translation import gettext as _

from apiary_sales.reports import pictures, uncosted
from apiary_sales.reports.columns import Column, Row, Unit
from apiary_sales.reports.forms import FilterForm
from apiary_sales.reports.frames import months
from apiary_sales.reports.frames.listing import Listing
from apiary_sales.reports.frames.make import WHOLE, total
from apiary_sales.reports.pictures import Picture as Picture
from inventory.shared.paging import ROWS_A_PAGE

if TYPE_CHECKING:
    import pandas as pd

# So many rows of a long file are in memory at a time, beside the frame.
ROWS_AT_ONCE = 1000


@dataclass(frozen=True)
class Report:
    """One report: a frame, what it counts in words, and how it is shown.

    `columns` gets the frame, because some reports have a column a season. `opens` gives the
    address of the lines, runs or page behind a row from the row and the filters in the address.
    `warns` says in sentences what is odd about its figures. `answers` says the point of
    a report with its rows: its main figure, and what to compare that with. `is_unfinished` tells
    whether the figure of a column in a row is of a time that is not over; of a report with a row a
    month it is the month of today. `main` names the column whose figure a phone shows beside the
    name of a row, where it is not the first that is drawn. Of `instead_of_main` a row without that
    figure shows the first that it has; only where its name and kind say which that is, or where
    the report `names_main`: there that figure says on a phone what it is. The table has
    `rows_a_page`: fewer where a row takes much of a phone. A table of months that
    `is_newest_first` says so. A list that grows with the books has a `listing`, which gives the
    same rows as the frame some at a time, or None where only the frame has what is asked for; it
    has no picture, and its columns are always the same.
    """

    slug: str
    title: str | Promise
    sentence: str | Promise
    definition: tuple[str | Promise, ...]
    subject: str | Promise
    form: type[FilterForm]
    frame: Callable[[Any], pd.DataFrame]
    columns: Callable[[Any, Any], list[Column]]
    picture: Picture | None
    opens: Callable[[Row, dict[str, str]], str | None]
    nothing: str | Promise
    warns: Callable[[FilteredReport], list[str]] = lambda _made: []
    more_pictures: tuple[Picture, ...] = ()
    answers: Callable[[FilteredReport], list[str]] = lambda _made: []
    is_unfinished: Callable[[Row, str, Any], bool] | None = None
    main: str = ""
    instead_of_main: tuple[str, ...] = ()
    names_main: bool = False
    rows_a_page: int = ROWS_A_PAGE
    is_newest_first: bool = False
    listing: Callable[[Any], Listing | None] = lambda _asked: None


@dataclass(frozen=True)
class Cell:
    """One cell of a table on a page."""

    label: str | Promise
    shown: str
    css: str
    url: str | None = None


@dataclass(frozen=True)
class ReportPage:
    """The rows of one page of the table, and the total of all rows."""

    rows: list[list[Cell]]
    total: list[Cell]


@dataclass(frozen=True)
class Heading:
    """One heading of a table on a page, with what the address says to sort by its column."""

    column: Column
    sort: str
    is_sorted: bool
    is_downward: bool


class FilteredReport:
    """A report made for the filters of a valid form; a frame is read once, when first asked for.

    `sort` names the column to sort table and picture by, with a minus before it for the largest
    first; the report's own order stays where it names none, and in pictures over time.
    """

    def __init__(self, report: Report, form: FilterForm, sort: str = "") -> None:
        self.report = report
        self.asked = form.asked()
        self.in_address = form.in_address()
        self.in_words = form.in_words()
        self.listing = report.listing(self.asked)
        self.columns = report.columns(None if self.listing else self.frame, self.asked)
        self._sort_name, self._is_downward = sort.removeprefix("-"), sort.startswith("-")

    @cached_property
    def frame(self) -> pd.DataFrame:
        """All rows of the report."""
        return self.report.frame(self.asked)

    @cached_property
    def count(self) -> int:
        """How many rows there are."""
        return len(self.frame if self.listing is None else self.listing)

    @cached_property
    def sorted_by(self) -> Column | None:
        """The column the table is sorted by; None for the report's own order."""
        return next((each for each in self.columns if each.name == self._sort_name), None)

    @cached_property
    def warnings(self) -> list[str]:
        """What is odd about the figures, in sentences."""
        return self.report.warns(self)

    @cached_property
    def uncosted(self) -> uncosted.Uncosted | None:
        """How much of what is shown has no cost, where there is a margin."""
        return uncosted.of(self) if self.count else None

    @property
    def is_newest_first(self) -> bool:
        """Whether the table begins with the newest month, and not as somebody sorted it."""
        return self.report.is_newest_first and self.sorted_by is None

    @property
    def headings(self) -> list[Heading]:
        return [self._heading(column) for column in self.columns_shown]

    def each_row(self) -> Iterator[dict[str, Any]]:
        """Yield the figures of each row by column, in the order of the table, some at a time."""
        for first in range(0, len(self.order), ROWS_AT_ONCE):
            yield from self.rows_at(self.order[first : first + ROWS_AT_ONCE])

    def rows_at(self, places: Sequence[int]) -> list[dict[str, Any]]:
        """Return the figures of rows by column, by their places in the frame."""
        return [self._figures(record) for record in self.records_at(places)]

    def records_at(self, places: Sequence[int]) -> list[dict[str, Any]]:
        """Return rows of the frame or the list by their places."""
        if self.listing is not None:
            return self.listing.records(places)
        return self.frame.iloc[list(places)].to_dict("records")

    def _figures(self, record: Row) -> dict[str, Any]:
        return {column.name: column.value(record) for column in self.columns}

    @cached_property
    def rows(self) -> list[dict[str, Any]]:
        """The figures of each row by column, in the report's own order."""
        return [self._figures(record) for record in self.records]

    @cached_property
    def records(self) -> list[dict[str, Any]]:
        """The rows of the frame."""
        return self.frame.to_dict("records")

    @cached_property
    def columns_by_name(self) -> dict[str, Column]:
        return {column.name: column for column in self.columns}

    @cached_property
    def month_column(self) -> Column | None:
        """The column that names the month of each row, where there is one."""
        return next((column for column in self.columns if column.unit == Unit.MONTH), None)

    @cached_property
    def answers(self) -> list[str]:
        """The point of the report in sentences."""
        return self.report.answers(self) if self.count else []

    @cached_property
    def total(self) -> dict[str, Any]:
        """The sum of the rows in each column that adds up; fractions are those of the sums."""
        if self.listing is not None:
            return self._of_sums(self.listing.sums)
        return self._sums(self.frame)

    def sum_of(self, name: str) -> int | None:
        """Return the sum of a column of the frame; None when no figure in it is known."""
        return total(self.frame, name) if self.listing is None else self.listing.sums[name]

    @cached_property
    def columns_shown(self) -> list[Column]:
        """The columns of a page: those that say nothing here are left out."""
        return [
            column
            for column in self.columns
            if not (column.is_left_out_when_nothing and not self.total[column.name])
        ]

    @cached_property
    def picture(self) -> pictures.Drawing | None:
        """The first picture of the report; None where there is nothing to draw."""
        return next(iter(self.pictures), None)

    @cached_property
    def pictures(self) -> list[pictures.Drawing]:
        first = self.report.picture
        wanted = [*([] if first is None else [first]), *self.report.more_pictures]
        drawn = [pictures.draw(self, picture) for picture in wanted]
        return [drawing for drawing in drawn if drawing is not None]

    def page(self, places: Sequence[int]) -> ReportPage:
        """Return these rows as a page shows them; the total is that of all rows, shown or not."""
        records = self.records_at(places)
        shown = [(record, self._figures(record)) for record in records]
        return ReportPage(
            rows=[self._cells(row, self._urls(record, row), record) for record, row in shown],
            total=self._cells(self.total),
        )

    def is_unfinished(self, record: Row, name: str) -> bool:
        """Tell whether the figure of a column in a row is of a time that is not over."""
        if self.report.is_unfinished is not None:
            return self.report.is_unfinished(record, name, self.asked)
        column = self.month_column
        return column is not None and bool(self._said_of_month(record[column.name]))

    def shown(self, column: Column, value: Any) -> str:
        """Return a figure as a page shows it, with its unit; a month that is not whole says so."""
        said = self._said_of_month(value) if column.unit == Unit.MONTH else ""
        if said:
            return format_html("{} <small>({})</small>", column.shown(value), said)
        return column.shown(value)

    def text(self, column: Column, value: Any) -> str:
        """Return a figure in plain text; a month that is not whole says so."""
        said = self._said_of_month(value) if column.unit == Unit.MONTH else ""
        return f"{column.text(value)} ({said})" if said else column.text(value)

    def sums(self, places: Sequence[int]) -> dict[str, Any]:
        """Return the sums of some rows."""
        return self._sums(self.frame.iloc[list(places)])

    @cached_property
    def order(self) -> Sequence[int]:
        """The rows of the table by their place in the frame; what is not known comes last."""
        places = range(self.count)
        column = self.sorted_by
        if column is None and self.is_newest_first:
            return places[::-1]
        if column is None:
            return self._with_largest_together(places)
        values = [column.sort_key(value) for value in self._values_of(column)]
        known = [at for at in places if values[at] is not None]
        unknown = [at for at in places if values[at] is None]
        return sorted(known, key=values.__getitem__, reverse=self._is_downward) + unknown

    def _values_of(self, column: Column) -> Iterator[Any]:
        """Yield the figures of a column in the report's own order, some rows at a time."""
        for first in range(0, self.count, ROWS_AT_ONCE):
            places = range(first, min(first + ROWS_AT_ONCE, self.count))
            for record in self.records_at(places):
                yield column.value(record)

    def _with_largest_together(self, places: Sequence[int]) -> Sequence[int]:
        """Put rows that are drawn as one together, those with the largest sum first."""
        picture = self.report.picture
        if picture is None or not picture.adds_up:
            return places
        sums: dict[Any, int] = {}
        for record, row in zip(self.records, self.rows, strict=True):
            label = record[picture.label]
            sums[label] = sums.get(label, 0) + (row[picture.columns[0]] or 0)
        first = {label: at for at, label in enumerate(sums)}
        labels = [record[picture.label] for record in self.records]
        return sorted(places, key=lambda at: (-sums[labels[at]], first[labels[at]]))

    def _said_of_month(self, value: str) -> str:
        """Say of a month that it is not over, or that not all of its days are counted."""
        first = date.fromisoformat(f"{value}-01")
        last = (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)
        if months.is_unfinished(first, timezone.localdate()):
            return _("so far")
        since, until = getattr(self.asked, "since", None), getattr(self.asked, "until", None)
        is_cut = (since and first < since) or (until and until < last)
        return _("not all days") if is_cut else ""

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
        for column in self.columns:
            if column.needs_every_row and frame[column.name].isna().any():
                sums[column.name] = None
        return self._of_sums(sums)

    def _of_sums(self, sums: Mapping[str, Any]) -> dict[str, Any]:
        return {
            column.name: column.value(sums) if column.adds_up or column.is_derived else None
            for column in self.columns
        }

    def _cells(
        self,
        values: dict[str, Any],
        urls: dict[str, str | None] | None = None,
        record: Row | None = None,
    ) -> list[Cell]:
        """Return the cells of a row with the addresses behind them, or, without, of a sum."""
        is_sum = urls is None
        main = self._main if is_sum else self._main_of(values)
        return [
            Cell(
                column.label,
                # What is no sum has no place in a row of sums.
                ""
                if is_sum and not column.adds_up and not column.is_derived
                else self._shown_in(record, column, values[column.name]),
                f"{column.css} {self._on_phone(at, column, main, values[column.name])}".strip(),
                None if urls is None else urls.get(column.name),
            )
            for at, column in enumerate(self.columns_shown)
        ]

    def _shown_in(self, record: Row | None, column: Column, value: Any) -> str:
        """Return a figure of a row; one of a time that is not over says so."""
        shown = self.shown(column, value)
        tells = self.report.is_unfinished
        if record is None or tells is None or value is None or not column.is_number:
            return shown
        if tells(record, column.name, self.asked):
            return format_html("{} <small>({})</small>", shown, _("so far"))
        return shown

    def _on_phone(self, at: int, column: Column, main: Column | None, value: Any) -> str:
        """Return the class of a cell on a phone, where a row is two lines or three."""
        if at == 0:
            return "line-what"
        is_named = self.report.names_main
        if column == main and not (is_named and value is None):
            return "line-end line-named" if is_named else "line-end"
        if value is None or value == "" or (column.is_left_out_when_nothing and not value):
            return "line-off"
        if not column.is_number:
            return "line-dot" if at > 1 else ""
        return "line-said" if at > 1 else "line-first"

    def _main_of(self, values: dict[str, Any]) -> Column | None:
        main, instead = self._main, self.report.instead_of_main
        if main is None or values[main.name] is not None:
            return main
        found = (column for column in self.columns_shown if column.name in instead)
        return next((column for column in found if values[column.name] is not None), main)

    @cached_property
    def _main(self) -> Column | None:
        """The column whose figure stands beside the name of a row on a phone."""
        picture = self.report.picture
        drawn = pictures.names_drawn(self, picture) if picture else [self.report.main]
        figures = [column for column in self.columns_shown[1:] if column.is_number]
        wanted = [column for name in drawn for column in figures if column.name == name]
        money = [column for column in figures if column.unit == Unit.CENTS]
        return next(iter([*wanted, *money, *figures]), None)
