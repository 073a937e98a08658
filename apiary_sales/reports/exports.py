"""Reports as files: CSV and XLSX, in which no text can turn into a formula.

A spreadsheet takes a cell that begins with one of `=`, `+`, `-`, `@`, a tab or a carriage return
for a formula, whoever typed it. Such text gets an apostrophe before it in CSV, and is a text cell
marked as quoted in XLSX (OWASP, "CSV Injection"). Figures are ours and stay figures.
"""

import csv
import io
from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from apiary_sales.reports.columns import Column
from apiary_sales.reports.made import Made

# The wide forms are what a spreadsheet set to an East Asian language takes for the same.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
WIDTH_MIN, WIDTH_MAX = 8, 60
SHEET_NAME_MAX = 31


def starts_formula(text: str) -> bool:
    """Tell whether a spreadsheet might take this text for a formula."""
    return text.startswith(FORMULA_STARTS)


def csv_file(made: Made) -> bytes:
    """Return a report as CSV in UTF-8, with the mark by which spreadsheets know it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(_csv_cell(heading) for heading, _figure, _format in _headings(made))
    for row in _rows(made):
        writer.writerow(_csv_cell(value) for value in row)
    return out.getvalue().encode("utf-8-sig")


def xlsx_file(made: Made) -> bytes:
    """Return a report as a workbook: the table, and a sheet that says what it counts."""
    book = Workbook()
    sheet = book.active
    sheet.title = _sheet_name(str(made.report.title))
    headings = list(_headings(made))
    for number, (heading, _figure, _format) in enumerate(headings, start=1):
        _write(sheet.cell(1, number), heading).font = Font(bold=True)
    for row_number, row in enumerate(_rows(made), start=2):
        for number, (value, (_heading, _figure, style)) in enumerate(
            zip(row, headings, strict=True), start=1
        ):
            _write(sheet.cell(row_number, number), value, style)
    if made.rows:
        for cell in sheet[sheet.max_row]:
            cell.font = Font(bold=True)
    sheet.freeze_panes = "B2"
    for number in range(1, len(headings) + 1):
        letter = get_column_letter(number)
        widest = max(len(str(cell.value or "")) for cell in sheet[letter])
        sheet.column_dimensions[letter].width = min(max(widest + 2, WIDTH_MIN), WIDTH_MAX)
    _write_about(book.create_sheet(_("About")), made)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _headings(made: Made) -> Iterator[tuple[str, Any, str]]:
    for column in made.columns:
        yield from column.exports()


def _rows(made: Made) -> Iterator[list[Any]]:
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


def _write(cell: Cell, value: Any, style: str = "@") -> Cell:
    if isinstance(value, int | Decimal | date):
        cell.value = value
        cell.number_format = style
    elif value is not None:
        text = ILLEGAL_CHARACTERS_RE.sub("", str(value))
        cell.value = text
        # openpyxl reads "=…" as a formula; here nothing typed is one.
        cell.data_type = "s"
        cell.number_format = "@"
        cell.quotePrefix = starts_formula(text)
    return cell


def _write_about(sheet: Any, made: Made) -> None:
    lines = [made.report.title, *made.in_words, *made.report.definition]
    for number, line in enumerate(lines, start=1):
        cell = _write(sheet.cell(number, 1), str(line))
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet["A1"].font = Font(bold=True)
    sheet.column_dimensions["A"].width = 90


def _sheet_name(title: str) -> str:
    return "".join(mark for mark in title if mark not in r"[]:*?/\'")[:SHEET_NAME_MAX]
