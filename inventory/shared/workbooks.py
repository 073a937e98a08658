"""Tables as workbooks (XLSX), in which no text can turn into a formula.

Calling `xlsx_response` imports openpyxl, so a view does it only when a workbook is asked for.
"""

import io
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from django.http import HttpResponse
from django.utils.http import content_disposition_header

from inventory.shared.csv_files import starts_formula

MEDIA_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
WIDTH_MIN, WIDTH_MAX = 8, 60
SHEET_NAME_MAX = 31


def xlsx_bytes(sheets: Iterable[tuple[str, Iterable[Iterable[Any]]]]) -> bytes:
    """Return tables as a workbook, a sheet each by its name; the first row of each is headings."""
    from openpyxl import Workbook
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets:
        title = "".join(mark for mark in name if mark not in r"[]:*?/\'")[:SHEET_NAME_MAX]
        sheet = book.create_sheet(title)
        for row_number, row in enumerate(rows, start=1):
            for number, value in enumerate(row, start=1):
                if value is None:
                    continue
                cell = sheet.cell(row_number, number)
                if isinstance(value, int | Decimal | date):
                    cell.value = value
                    if isinstance(value, Decimal):
                        cell.number_format = "#,##0.00"
                else:
                    text = ILLEGAL_CHARACTERS_RE.sub("", str(value))
                    cell.value = text
                    # openpyxl reads "=…" as a formula; here nothing typed is one.
                    cell.data_type = "s"
                    cell.quotePrefix = starts_formula(text)
                if row_number == 1:
                    cell.font = Font(bold=True)
        sheet.freeze_panes = "A2"
        for number in range(1, sheet.max_column + 1):
            letter = get_column_letter(number)
            widest = max((len(str(cell.value or "")) for cell in sheet[letter]), default=0)
            sheet.column_dimensions[letter].width = min(max(widest + 2, WIDTH_MIN), WIDTH_MAX)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def xlsx_response(name: str, sheets: Iterable[tuple[str, Iterable[Iterable[Any]]]]) -> HttpResponse:
    """Answer with tables as a workbook that is saved as `name`."""
    response = HttpResponse(xlsx_bytes(sheets), content_type=MEDIA_TYPE)
    response["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    return response
