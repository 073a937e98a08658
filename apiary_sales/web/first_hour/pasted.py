"""Lists that are pasted out of a table: lines with tabs, semicolons or commas between the cells."""

import csv
from collections.abc import Iterable, Sequence

LINES_MAX = 300
# Longer than any line of such a list; what is beyond it is not read.
LINE_LENGTH_MAX = 400


def cells(text: str) -> list[list[str]]:
    """Return the cells of each line that has any; the mark between them is the first that occurs.

    >>> cells("L26001; One pound; 24")
    [['L26001', 'One pound', '24']]
    """
    filled = [line for line in text.splitlines() if line.strip()]
    lines = [line[:LINE_LENGTH_MAX] for line in filled[:LINES_MAX]]
    mark = next((mark for mark in "\t;" if any(mark in line for line in lines)), ",")
    return [[cell.strip() for cell in row] for row in csv.reader(lines, delimiter=mark)]


def chosen(typed: str, choices: Iterable[tuple[str, Sequence[str]]]) -> str:
    """Return the value of the choice that is called so, or what was typed where none is."""
    wanted = " ".join(typed.split()).casefold()
    for value, names in choices:
        if wanted in (" ".join(name.split()).casefold() for name in names):
            return value
    return typed
