"""Text in tables to download that no spreadsheet takes for a formula.

A spreadsheet takes a cell that begins with one of `=`, `+`, `-`, `@`, a tab or a carriage return
for a formula, whoever typed it. Such text gets an apostrophe before it in CSV (OWASP, "CSV
Injection"). Figures are ours and stay figures.
"""

import csv
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal
from typing import Any

# The wide forms are what a spreadsheet set to an East Asian language takes for the same.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
# The mark by which spreadsheets know UTF-8.
UTF_8_MARK = "\ufeff"


def starts_formula(text: str) -> bool:
    """Tell whether a spreadsheet might take this text for a formula."""
    return text.startswith(FORMULA_STARTS)


def csv_cell(value: Any) -> str:
    """Return what a cell of a CSV file has in it for a value."""
    if value is None:
        return ""
    if isinstance(value, int | Decimal):
        return f"{value:f}" if isinstance(value, Decimal) else str(value)
    if isinstance(value, date):
        return value.isoformat()
    text = str(value)
    return f"'{text}" if starts_formula(text) else text


class _Echo:
    """A file that hands back what is written to it."""

    def write(self, text: str) -> str:
        return text


def csv_lines(rows: Iterable[Iterable[Any]]) -> Iterator[str]:
    """Yield a CSV file line by line, so that a long one is never in memory as a whole."""
    writer = csv.writer(_Echo())
    yield UTF_8_MARK
    for row in rows:
        yield writer.writerow(csv_cell(value) for value in row)
