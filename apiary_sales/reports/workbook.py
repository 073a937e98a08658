"""Reports as workbooks (XLSX): the table, and a sheet that says what it counts.

Importing this module imports openpyxl, so a view does it only when a workbook is asked for.
"""

import io
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from apiary_sales.reports.exports import headings_of, rows_of
from apiary_sales.reports.report import FilteredReport
from inventory.shared.csv_files import starts_formula

WIDTH_MIN, WIDTH_MAX = 8, 60
SHEET_NAME_MAX = 31


def xlsx_file(made: FilteredReport) -> bytes:
    """Return a report as a workbook: the table, and a sheet that says what it counts."""
    book = Workbook()
    sheet = book.active
    sheet.title = _sheet_name(str(made.report.title))
    headings = list(headings_of(made))
    for number, (heading, _figure, _format) in enumerate(headings, start=1):
        _write(sheet.cell(1, number), heading).font = Font(bold=True)
    for row_number, row in enumerate(rows_of(made), start=2):
        for number, (value, (_heading, _figure, style)) in enumerate(
            zip(row, headings, strict=True), start=1
        ):
            _write(sheet.cell(row_number, number), value, style)
    if len(made.frame):
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
    lines = [made.report.title, *made.in_words, *made.report.definition]
    for number, line in enumerate(lines, start=1):
        cell = _write(sheet.cell(number, 1), str(line))
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet["A1"].font = Font(bold=True)
    sheet.column_dimensions["A"].width = 90


def _sheet_name(title: str) -> str:
    return "".join(mark for mark in title if mark not in r"[]:*?/\'")[:SHEET_NAME_MAX]
