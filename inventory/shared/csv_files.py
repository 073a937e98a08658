"""Tables as CSV, in which no text can turn into a formula.

A spreadsheet takes a cell that begins with one of `=`, `+`, `-`, `@`, a tab or a carriage return
for a formula, whoever typed it. Such text gets an apostrophe before it (OWASP, "CSV Injection").
Figures are ours and stay figures.
"""

import csv
import io
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

# The wide forms are what a spreadsheet set to an East Asian language takes for the same.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def starts_formula(text: str) -> bool:
    """Tell whether a spreadsheet might take this text for a formula."""
    return text.startswith(FORMULA_STARTS)


def csv_bytes(rows: Iterable[Iterable[Any]]) -> bytes:
    """Return rows as CSV in UTF-8, with the mark by which spreadsheets know it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    for row in rows:
        writer.writerow(_cell(value) for value in row)
    return out.getvalue().encode("utf-8-sig")


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, int | Decimal):
        return f"{value:f}" if isinstance(value, Decimal) else str(value)
    if isinstance(value, date):
        return value.isoformat()
    text = str(value)
    return f"'{text}" if starts_formula(text) else text
