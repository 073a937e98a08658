"""Reports as tables to download, and as CSV; `workbook` writes the same as XLSX.

No text in them can turn into a formula: see `inventory.shared.spreadsheets`. In XLSX such text is
a text cell marked as quoted.
"""

import csv
import io
from collections.abc import Callable, Iterator
from typing import Any

from django.utils.translation import gettext as _

from apiary_sales.reports.columns import Column
from apiary_sales.reports.report import FilteredReport
from inventory.shared.spreadsheets import csv_cell


def csv_file(made: FilteredReport) -> bytes:
    """Return a report as CSV in UTF-8, with the mark by which spreadsheets know it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(csv_cell(heading) for heading, _figure, _format in headings_of(made))
    for row in rows_of(made):
        writer.writerow(csv_cell(value) for value in row)
    return out.getvalue().encode("utf-8-sig")


def headings_of(made: FilteredReport) -> Iterator[tuple[str, Callable[[Any], Any], str]]:
    """Yield what each column is headed, the figure of a value, and its format."""
    for column in made.columns:
        yield from column.exports()


def rows_of(made: FilteredReport) -> Iterator[list[Any]]:
    """Yield the figures of each row, then those of the total."""
    figures = [
        (column.name, _writer(column, figure))
        for column in made.columns
        for _heading, figure, _format in column.exports()
    ]
    for row in made.sorted_rows:
        yield [write(row[name]) for name, write in figures]
    if made.rows:
        yield [_("Total"), *(write(made.total[name]) for name, write in figures[1:])]


def _writer(column: Column, figure: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return lambda value: None if value is None else figure(column.named(value))
