"""The columns of a list: what each is called, how it is typed, and which one of a file it is."""

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from functools import cache, lru_cache
from typing import Any

from django.db.models import Choices
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import override

LANGUAGES = ("en", "es")


class CellKind(StrEnum):
    """How what is typed in a column is read."""

    TEXT = "text"
    WHOLE = "whole"
    NUMBER = "number"
    MONEY = "money"
    WEIGHT = "weight"
    LABEL_WEIGHT = "label weight"
    DAY = "day"
    CHOICE = "choice"
    PRODUCT = "product"
    PLACE = "place"
    CUSTOMER = "customer"


HOW: Mapping[CellKind, Promise] = {
    CellKind.TEXT: _lazy("text"),
    CellKind.WHOLE: _lazy("a whole number"),
    CellKind.NUMBER: _lazy("a number"),
    CellKind.MONEY: _lazy("an amount of money"),
    CellKind.WEIGHT: _lazy("a weight with its unit"),
    CellKind.LABEL_WEIGHT: _lazy("a weight with its unit"),
    CellKind.DAY: _lazy("a day, as in 2026-07-31"),
    CellKind.CHOICE: _lazy("one of these words"),
    CellKind.PRODUCT: _lazy("the name, short name or GTIN of a product"),
    CellKind.PLACE: _lazy("the number or name of a place"),
    CellKind.CUSTOMER: _lazy("the name of a customer"),
}


@dataclass(frozen=True)
class ListColumn:
    """A column of a list; `name` is the parameter of the service that takes it.

    `words` are what else people call it, in English and Spanish. `example` is a value, a text, or
    `DaysAgo`. `parameters` are other names under which a service may refuse it.
    """

    name: str
    label: str | Promise
    kind: CellKind = CellKind.TEXT
    example: "str | int | Decimal | DaysAgo | Promise" = ""
    hint: str | Promise = ""
    is_required: bool = False
    words: tuple[str, ...] = ()
    choices: type[Choices] | None = None
    length_max: int = 200
    parameters: tuple[str, ...] = ()

    @property
    def how(self) -> str:
        """Say how it is typed, and which words may be chosen."""
        told = str(HOW[self.kind])
        if self.choices is not None:
            listed = ", ".join(str(label) for label in self.choices.labels)
            return f"{told}: {listed}"
        return told

    def example_value(self) -> Any:
        """Return the example as a workbook has it: a number, a day or a text."""
        if isinstance(self.example, DaysAgo):
            return timezone.localdate() - timedelta(days=self.example.days)
        return str(self.example) if isinstance(self.example, Promise) else self.example

    def example_text(self, decimal_sign: str) -> str:
        """Return the example as a person types it."""
        value = self.example_value()
        if isinstance(value, Decimal):
            return f"{value:f}".replace(".", decimal_sign)
        return value.isoformat() if isinstance(value, date) else str(value)


@dataclass(frozen=True)
class DaysAgo:
    """An example of a day that is never old: so many days before today."""

    days: int


@lru_cache(maxsize=4096)
def folded(text: str) -> str:
    """Return a heading as it is compared: small letters without accents, marks and spaces."""
    plain = unicodedata.normalize("NFKD", str(text)).casefold()
    return re.sub(r"[^a-z0-9]", "", plain)


def names_of(column: ListColumn) -> set[str]:
    """Return everything that a column may be called, folded."""
    found = {folded(column.name), *(folded(word) for word in column.words)}
    for language in LANGUAGES:
        with override(language):
            found.add(folded(str(column.label)))
    return found - {""}


def guessed(columns: Sequence[ListColumn], headings: Sequence[str]) -> dict[str, int]:
    """Return which column of the file each of ours probably is, by name; none is taken twice."""
    found: dict[str, int] = {}
    plain = [folded(heading) for heading in headings]
    for column in columns:
        names = names_of(column)
        for position, heading in enumerate(plain):
            if heading in names and position not in found.values():
                found[column.name] = position
                break
    # What begins or ends alike comes second, so that it takes no column from an exact name.
    for column in columns:
        if column.name in found:
            continue
        names = {name for name in names_of(column) if len(name) > 3}
        for position, heading in enumerate(plain):
            if position in found.values() or len(heading) < 4:
                continue
            if any(heading.startswith(name) or heading.endswith(name) for name in names):
                found[column.name] = position
                break
    return found


def has_headings_of_template(columns: Sequence[ListColumn], headings: Sequence[str]) -> bool:
    """Tell whether a file has the headings of our template, all of them and no others."""
    for language in LANGUAGES:
        with override(language):
            if [str(column.label) for column in columns] == list(headings):
                return True
    return False


def is_example(columns: Sequence[ListColumn], cells: Sequence[str], decimal_sign: str) -> bool:
    """Tell whether a row of a template is its example, which is never brought in."""
    padded = [*cells, *[""] * (len(columns) - len(cells))]
    for language in LANGUAGES:
        with override(language):
            if all(
                # The day of an example moves with the day on which the template was made.
                column.kind == CellKind.DAY
                or _shortest(cell, decimal_sign)
                == _shortest(column.example_text(decimal_sign), decimal_sign)
                for column, cell in zip(columns, padded, strict=True)
            ):
                return True
    return False


def _shortest(text: str, decimal_sign: str) -> str:
    """Return a figure without the zeros that a spreadsheet leaves out."""
    return text.rstrip("0").rstrip(decimal_sign) if decimal_sign in text else text


def choice_named(choices: type[Choices], text: str) -> str | None:
    """Return the value of a choice by its value or its label in either language, or None."""
    return _words_of(choices).get(folded(text))


@cache
def _words_of(choices: type[Choices]) -> Mapping[str, str]:
    """Return every word for each choice, folded; a list has thousands of rows with the same few."""
    found = {folded(value): str(value) for value in choices.values}
    for language in LANGUAGES:
        with override(language):
            for value, label in choices.choices:
                found.setdefault(folded(str(label)), str(value))
                found.setdefault(folded(str(label).split(":")[0]), str(value))
    return found


def needed_sentence() -> str:
    return _("Choose the column that has this. It is needed.")


def missing_sentence() -> str:
    return _("This is missing. Fill it in.")
