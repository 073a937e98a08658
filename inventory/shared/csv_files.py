"""Tables as CSV, in which no text can turn into a formula.

A spreadsheet takes a cell that begins with one of `=`, `+`, `-`, `@`, a tab or a carriage return
for a formula, whoever typed it. Such text gets an apostrophe before it (OWASP, "CSV Injection").
So does what follows a semicolon, a tab or a new line within a text: a spreadsheet that takes these
for the end of a cell, as one of a house with decimal commas does, would begin a cell there.
Figures are ours and stay figures.

Spreadsheets of a house with decimal commas begin a cell at a semicolon, and take "12.5" for a text
or a day: there a file is written as they read it. Programs get commas and points from every house.
"""

import csv
import re
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal
from typing import Any

from django.http import HttpResponse
from django.utils.http import content_disposition_header

from inventory.shared import conventions

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


def csv_lines(rows: Iterable[Iterable[Any]], *, for_program: bool = False) -> Iterator[str]:
    """Yield a CSV file line by line, so that a long one is never in memory as a whole."""
    is_with_commas = not for_program and conventions.current().decimal_sign == ","
    writer = csv.writer(_Echo(), delimiter=";" if is_with_commas else ",")
    decimal_sign = "," if is_with_commas else "."
    yield UTF_8_MARK
    for row in rows:
        yield writer.writerow(_cell(value, decimal_sign) for value in row)


def csv_bytes(rows: Iterable[Iterable[Any]], *, for_program: bool = False) -> bytes:
    """Return rows as a CSV file in UTF-8."""
    return "".join(csv_lines(rows, for_program=for_program)).encode()


def csv_response(name: str, rows: Iterable[Iterable[Any]]) -> HttpResponse:
    """Answer with rows as a CSV file that is saved as `name`."""
    response = HttpResponse(csv_bytes(rows), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    return response


class _Echo:
    """A file that hands back what is written to it."""

    def write(self, text: str) -> str:
        return text


def _cell(value: Any, decimal_sign: str) -> str:
    if value is None:
        return ""
    if isinstance(value, Decimal):
        return f"{value:f}".replace(".", decimal_sign)
    if isinstance(value, int):
        return str(value)
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
