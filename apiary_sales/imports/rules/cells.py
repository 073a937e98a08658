"""Read what is typed in the cells of a row as the values that a service takes."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.imports.models import Import
from apiary_sales.imports.rules.columns import CellKind, ListColumn, choice_named, missing_sentence
from inventory.physics import units
from inventory.shared import words
from inventory.shared.errors import BadValue, Problems
from inventory.shared.money import SYMBOLS
from inventory.shared.typed import WORD, Mistyped, first_unit, read_number, read_quantity

MONEY_DECIMALS = 2
DIGITS_MAX = 12
# Read where none is written, to find what else is wrong first.
NO_UNIT = "g"
# Signs of currencies, and letters of their codes, beside an amount.
CURRENCY = re.compile(r"^([A-Z]{3}|[$€£¥])?\s*(.*?)\s*([A-Z]{3}|[$€£¥])?$", re.DOTALL)
ISO_DAY = re.compile(r"^(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]00:00(?::00)?)?$")
OTHER_DAY = re.compile(r"^(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})$")

# What is named in a cell, found by its folded name; None where there is none.
Finder = Callable[[str], Any]
Figures = dict[str, Any]


@dataclass(frozen=True)
class Writing:
    """How a list is written: its decimal sign, and whether the day or the month comes first."""

    decimal_sign: str = "."
    day_order: str = Import.DayOrder.MONTH_FIRST
    weight_unit: str = "lb"
    # Of the house; amounts in any are taken where none is said.
    currency: str = ""
    finders: Mapping[CellKind, Finder] = field(default_factory=dict)


def read_row(
    columns: Sequence[ListColumn], chosen: Mapping[str, int], cells: Sequence[str], writing: Writing
) -> Figures:
    """Return what a row says, by the names of our columns; empty cells are left out.

    Raises every problem at once, each at the name of its column.
    """
    figures: Figures = {}
    problems = Problems()
    for column in columns:
        position = chosen.get(column.name)
        text = cells[position] if position is not None and position < len(cells) else ""
        if not text:
            if column.is_required:
                problems.add(column.name, missing_sentence())
            continue
        try:
            figures[column.name] = read_cell(column, text, writing)
        except BadValue as error:
            problems.add(column.name, error.message)
        except Mistyped as error:
            problems.add(column.name, str(error))
    problems.raise_any()
    return figures


def read_cell(column: ListColumn, text: str, writing: Writing) -> Any:
    """Return the value of one cell; raises `BadValue` or `Mistyped`."""
    if text.startswith("="):
        raise BadValue(_("This is a formula. Save the list with what its formulas come to."))
    match column.kind:
        case CellKind.TEXT:
            if len(text) > column.length_max:
                raise BadValue(
                    _("This has %(count)s characters. The most is %(most)s.")
                    % {"count": len(text), "most": column.length_max}
                )
            return text
        case CellKind.WHOLE:
            return _whole(text, writing)
        case CellKind.NUMBER:
            return _number(text.removesuffix("%").rstrip(), writing)
        case CellKind.MONEY:
            return _cents(text, writing)
        case CellKind.WEIGHT:
            quantity = read_quantity(
                text, kind="weight", unit=writing.weight_unit, decimal_sign=writing.decimal_sign
            )
            return units.round_grams(quantity.m_as("g"))
        case CellKind.LABEL_WEIGHT:
            return _label_weight(text, writing)
        case CellKind.DAY:
            return _day(text, writing)
        case CellKind.CHOICE:
            return _choice(column, text)
        case _:
            found = writing.finders[column.kind](text)
            if found is None:
                raise BadValue(_NOT_FOUND[column.kind]() % {"text": text[:60]})
            return found


def as_understood(column: ListColumn, text: str, writing: Writing) -> str:
    """Write a right cell as it was read where it may be read in two ways: days and amounts."""
    if not text or column.kind not in (CellKind.DAY, CellKind.MONEY):
        return text
    value = read_cell(column, text, writing)
    return date_format(value) if column.kind == CellKind.DAY else words.money(value)


_NOT_FOUND: Mapping[CellKind, Callable[[], str]] = {
    CellKind.PRODUCT: lambda: _(
        "There is no product “%(text)s”. Check the name, or bring in the products first."
    ),
    CellKind.PLACE: lambda: _(
        "There is no place “%(text)s”. Check its number, or add it under Tanks and places."
    ),
    CellKind.CUSTOMER: lambda: _(
        "There is no customer “%(text)s”. Check the name, or bring in the customers first."
    ),
}


def _number(text: str, writing: Writing) -> Decimal:
    number = read_number(text, decimal_sign=writing.decimal_sign)
    if number.adjusted() >= DIGITS_MAX:
        raise BadValue(_("That is far too much. Check the figure."))
    return number


def _whole(text: str, writing: Writing) -> int:
    try:
        number = _number(text, writing)
    except Mistyped as error:
        if error.code != "not_a_number":
            raise
        raise BadValue(_("“%(text)s” is not a whole number.") % {"text": text[:30]}) from None
    if number % 1:
        raise BadValue(_("“%(text)s” is not a whole number.") % {"text": text[:30]})
    return int(number)


def _cents(text: str, writing: Writing) -> int:
    found = CURRENCY.match(text)
    before, bare, behind = found.groups() if found else (None, text, None)
    for sign in (before, behind):
        if (
            sign
            and writing.currency
            and sign not in (writing.currency, SYMBOLS.get(writing.currency))
        ):
            raise BadValue(
                _("This amount is in %(sign)s. Your books are in %(currency)s.")
                % {"sign": sign, "currency": writing.currency}
            )
    number = _number(bare, writing)
    cents = number.scaleb(MONEY_DECIMALS)
    # A spreadsheet keeps 0.1 + 0.2 as a little more: what is left after seven decimals is nothing.
    if abs(cents - round(cents)) < Decimal("0.00001"):
        return round(cents)
    raise BadValue(_("Money has at most two decimals. Round the amount."))


def _label_weight(text: str, writing: Writing) -> tuple[Decimal, str]:
    """Return a net weight as it is printed: a number and one unit."""
    read_quantity(text, kind="weight", unit=NO_UNIT, decimal_sign=writing.decimal_sign)
    unit = first_unit(text, kind="weight", unit=NO_UNIT)
    number, *rest = re.split(WORD, text.strip())
    if not re.search(WORD, text) or any(part.strip() for part in rest):
        raise BadValue(_("Write it with one unit, as in 1 lb, 12 oz or 500 g."))
    return _number(number, writing), unit


def _day(text: str, writing: Writing) -> date:
    if found := ISO_DAY.match(text):
        year, month, day = (int(part) for part in found.groups())
    elif found := OTHER_DAY.match(text):
        first, second, year = int(found[1]), int(found[3]), int(found[4])
        if year < 100:
            year += 2000
        # With dots the day comes first wherever that is written.
        if found[2] == "." or writing.day_order == Import.DayOrder.DAY_FIRST:
            day, month = first, second
        else:
            month, day = first, second
    else:
        raise BadValue(
            _("“%(text)s” is not a day. Write it as in 2026-07-31.") % {"text": text[:30]}
        )
    try:
        return date(year, month, day)
    except ValueError:
        raise BadValue(
            _(
                "There is no such day as %(text)s. Check it, and whether the day or the month "
                "comes first in this list."
            )
            % {"text": text[:30]}
        ) from None


def _choice(column: ListColumn, text: str) -> str:
    if column.choices is None:
        raise ValueError(f"The column {column.name} has no choices.")
    found = choice_named(column.choices, text)
    if found is None:
        raise BadValue(
            _("“%(text)s” is none of these: %(listed)s.")
            % {
                "text": text[:40],
                "listed": ", ".join(str(label) for label in column.choices.labels),
            }
        )
    return found
