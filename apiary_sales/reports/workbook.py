"""Reports as workbooks (XLSX): the table, and a sheet that says what it counts.

Importing this module imports openpyxl, so a view does it only when a workbook is asked for.
"""

import io
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from itertools import chain, islice
from typing import Any

from django.utils.translation import gettext as _
from openpyxl import Workbook
from openpyxl.cell import Cell, WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from apiary_sales.reports.exports import headings_of, rows_of, sums_of
from apiary_sales.reports.report import FilteredReport
from inventory.shared.csv_files import starts_formula

WIDTH_MIN, WIDTH_MAX = 8, 60
SHEET_NAME_MAX = 31
# Columns are as wide as the longest of so many rows and the total ask for.
ROWS_MEASURED = 1000


def xlsx_file(made: FilteredReport) -> bytes:
    """Return a report as a workbook: the table, and a sheet that says what it counts.

    Rows are written as they are read, so that a long list is never in memory as a whole.
    """
    book = Workbook(write_only=True)
    _write_table(book.create_sheet(_sheet_name(str(made.report.title))), made)
    _write_about(book.create_sheet(_("About")), made)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _write_table(sheet: Any, made: FilteredReport) -> None:
    headings = list(headings_of(made))
    words = [heading for heading, _figure, _format in headings]
    styles = [style for _heading, _figure, style in headings]
    rows, sums = rows_of(made), sums_of(made)
    first = list(islice(rows, ROWS_MEASURED))
    # The width of a column is written before its rows.
    for number, values in enumerate(zip(words, *first, *sums, strict=True), start=1):
        widest = max(len(str(value or "")) for value in values)
        width = min(max(widest + 2, WIDTH_MIN), WIDTH_MAX)
        sheet.column_dimensions[get_column_letter(number)].width = width
    sheet.freeze_panes = "B2"
    sheet.append(_row(sheet, words, ["@"] * len(words), is_bold=True))
    for row in chain(first, rows):
        sheet.append(_row(sheet, row, styles))
    for row in sums:
        sheet.append(_row(sheet, row, styles, is_bold=True))


def _row(
    sheet: Any, values: Iterable[Any], styles: Iterable[str], *, is_bold: bool = False
) -> list[Cell]:
    cells = [
        _write(WriteOnlyCell(sheet), value, style)
        for value, style in zip(values, styles, strict=True)
    ]
    for cell in cells if is_bold else ():
        cell.font = Font(bold=True)
    return cells


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


def _write_about(sheet: Any, made: FilteredReport) -> None:
    sheet.column_dimensions["A"].width = 90
    lines = [made.report.title, *made.in_words, *made.report.definition]
    for number, line in enumerate(lines):
        cell = _write(WriteOnlyCell(sheet), str(line))
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        if not number:
            cell.font = Font(bold=True)
        sheet.append([cell])


def _sheet_name(title: str) -> str:
    return "".join(mark for mark in title if mark not in r"[]:*?/\'")[:SHEET_NAME_MAX]
