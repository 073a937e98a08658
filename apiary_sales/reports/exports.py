"""Reports as tables to download, and as CSV; `workbook` writes the same as XLSX.

No text in them can turn into a formula: `inventory.shared.csv_files` says how in CSV, and in XLSX
it is a text cell marked as quoted.
"""

from collections.abc import Callable, Iterator
from itertools import chain, islice
from typing import Any

from django.utils.translation import gettext as _

from apiary_sales.reports.columns import Column
from apiary_sales.reports.report import FilteredReport
from inventory.shared.csv_files import csv_lines

LINES_A_CHUNK = 500


def csv_file(made: FilteredReport, *, for_program: bool = False) -> bytes:
    """Return a report as CSV in UTF-8, with the mark by which spreadsheets know it."""
    return b"".join(csv_chunks(made, for_program=for_program))


def csv_chunks(made: FilteredReport, *, for_program: bool = False) -> Iterator[bytes]:
    """Yield the same some lines at a time, so that a long file is never in memory as a whole."""
    headings = [heading for heading, _figure, _format in headings_of(made)]
    lines = csv_lines(chain([headings], rows_of(made), sums_of(made)), for_program=for_program)
    while chunk := "".join(islice(lines, LINES_A_CHUNK)):
        yield chunk.encode()


def headings_of(made: FilteredReport) -> Iterator[tuple[str, Callable[[Any], Any], str]]:
    """Yield what each column is headed, the figure of a value, and its format."""
    for column in made.columns:
        yield from column.exports()


def rows_of(made: FilteredReport) -> Iterator[list[Any]]:
    """Yield the figures of each row."""
    figures = _figures(made)
    for row in made.each_row():
        yield [write(row[name]) for name, write in figures]


def sums_of(made: FilteredReport) -> list[list[Any]]:
    """Return the row of the totals; none where there are no rows."""
    if not made.count:
        return []
    return [[_("Total"), *(write(made.total[name]) for name, write in _figures(made)[1:])]]


def _figures(made: FilteredReport) -> list[tuple[str, Callable[[Any], Any]]]:
    return [
        (column.name, _writer(column, figure))
        for column in made.columns
        for _heading, figure, _format in column.exports()
    ]


def _writer(column: Column, figure: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return lambda value: None if value is None else figure(column.named(value))
