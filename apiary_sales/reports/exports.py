"""Reports as tables to download, and as CSV; `workbook` writes the same as XLSX.

No text in them can turn into a formula. A spreadsheet takes a cell that begins with one of `=`,
`+`, `-`, `@`, a tab or a carriage return for a formula, whoever typed it. Such text gets an
apostrophe before it in CSV, and is a text cell marked as quoted in XLSX (OWASP, "CSV Injection").
Figures are ours and stay figures.
"""

import csv
import io
from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from apiary_sales.reports.columns import Column
from apiary_sales.reports.report import FilteredReport

# The wide forms are what a spreadsheet set to an East Asian language takes for the same.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def starts_formula(text: str) -> bool:
    """Tell whether a spreadsheet might take this text for a formula."""
    return text.startswith(FORMULA_STARTS)


def csv_file(made: FilteredReport) -> bytes:
    """Return a report as CSV in UTF-8, with the mark by which spreadsheets know it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(_csv_cell(heading) for heading, _figure, _format in headings_of(made))
    for row in rows_of(made):
        writer.writerow(_csv_cell(value) for value in row)
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


def _csv_cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, int | Decimal):
        return f"{value:f}" if isinstance(value, Decimal) else str(value)
    if isinstance(value, date):
        return value.isoformat()
    text = str(value)
    return f"'{text}" if starts_formula(text) else text
