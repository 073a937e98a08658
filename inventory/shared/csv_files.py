"""Tables as CSV, in which no text can turn into a formula.

A spreadsheet takes a cell that begins with one of `=`, `+`, `-`, `@`, a tab or a carriage return
for a formula, whoever typed it. Such text gets an apostrophe before it (OWASP, "CSV Injection").
So does what follows a semicolon, a tab or a new line within a text: a spreadsheet that takes these
for the end of a cell, as one of a house with decimal commas does, would begin a cell there.
Figures are ours and stay figures.
"""

import csv
import re
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from django.http import HttpResponse
from django.utils.http import content_disposition_header

# The wide forms are what a spreadsheet set to an East Asian language takes for the same.
SIGNS = "=+-@＝＋－＠"
FORMULA_STARTS = (*SIGNS, "\t", "\r", "\n")
# What a spreadsheet may begin a cell after, before what would be a formula there.
CELL_WITHIN = re.compile(rf"""([;\t\r\n]["\s]*)(?=[{re.escape(SIGNS)}])""")
HARMLESS_WITHIN = re.compile(rf"""([;\t\r\n]["\s]*)'(?=[{re.escape(SIGNS)}])""")
# The mark by which spreadsheets know UTF-8.
UTF_8_MARK = "\ufeff"


def starts_formula(text: str) -> bool:
    """Tell whether a spreadsheet might take this text for a formula."""
    return text.startswith(FORMULA_STARTS)


def csv_lines(rows: Iterable[Iterable[Any]]) -> Iterator[str]:
    """Yield a CSV file line by line, so that a long one is never in memory as a whole."""
    writer = csv.writer(_Echo())
    yield UTF_8_MARK
    for row in rows:
        yield writer.writerow(_cell(value) for value in row)


def csv_bytes(rows: Iterable[Iterable[Any]]) -> bytes:
    """Return rows as a CSV file in UTF-8."""
    return "".join(csv_lines(rows)).encode()


def csv_response(name: str, rows: Iterable[Iterable[Any]]) -> HttpResponse:
    """Answer with rows as a CSV file that is saved as `name`."""
    response = HttpResponse(csv_bytes(rows), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    return response


class _Echo:
    """A file that hands back what is written to it."""

    def write(self, text: str) -> str:
        return text


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, int | Decimal):
        return f"{value:f}" if isinstance(value, Decimal) else str(value)
    if isinstance(value, date):
        return value.isoformat()
    return made_harmless(str(value))


def made_harmless(text: str) -> str:
    """Return a text with an apostrophe wherever a spreadsheet might begin a formula."""
    within = CELL_WITHIN.sub(r"\1'", text)
    return f"'{within}" if starts_formula(text) else within


def as_it_was(text: str) -> str:
    """Return what a text was before `made_harmless`."""
    if text.startswith("'") and starts_formula(text[1:]):
        text = text[1:]
    return HARMLESS_WITHIN.sub(r"\1", text)
