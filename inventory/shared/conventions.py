"""How the house writes and measures: its currency, unit of weight, language and signs.

They are fields of the `House`, kept once per process, and read again at each request and after the
house was saved. Rules and filters ask for them as for Django's time zone: `current()`.

Prices by weight are kept per unit of weight of the house, and amounts in its currency. So neither
can change once anything is priced or booked in it; who keeps such rows says so with
`register_use`, and `is_fixed` tells.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from contextvars import ContextVar
from copy import copy
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import DatabaseError, connection, transaction
from django.utils import formats
from django.utils.translation import gettext as _

from inventory.physics.units import GRAMS

if TYPE_CHECKING:
    from inventory.shared.models import House

KILOGRAM, POUND = "kg", "lb"
SUNDAY, MONDAY = 0, 1


@dataclass(frozen=True)
class Conventions:
    """How one house writes and measures; `first_weekday` is 0 for Sunday and 1 for Monday."""

    currency: str
    weight_unit: str
    language: str
    decimal_sign: str
    first_weekday: int
    smallest_coin_cents: int
    prices_include_tax: bool

    @property
    def is_metric(self) -> bool:
        return self.weight_unit == KILOGRAM

    @property
    def unit_grams(self) -> Decimal:
        """Return the grams of one unit of weight, exactly: 1000, or 453.59237 to the pound."""
        return GRAMS[self.weight_unit]

    @property
    def thousands_sign(self) -> str:
        return "," if self.decimal_sign == "." else "."

    @property
    def volume_unit(self) -> str:
        return "L" if self.is_metric else "gal"

    @property
    def length_unit(self) -> str:
        return "cm" if self.is_metric else "in"

    @property
    def temperature_unit(self) -> str:
        return "C" if self.is_metric else "F"

    @property
    def weight_word(self) -> str:
        """Return the unit of weight as it is written beside a figure."""
        return _("kg") if self.is_metric else _("lb")


def usual_currency() -> str:
    """Return the currency that a new house begins with, as the settings say."""
    return str(settings.CURRENCY)


def usual_language() -> str:
    """Return the language that a new house begins with, as two letters."""
    return str(settings.LANGUAGE_CODE).split("-")[0]


def usual_decimal_sign() -> str:
    """Return the decimal sign that a new house begins with."""
    return str(settings.DECIMAL_SEPARATOR)


_kept: Conventions | None = None
# The row that they were read from.
_house: House | None = None
# Whether the table of the house was found once.
_is_there = False
# What numbers are written by now: Django keeps what it read of the formats.
_written_by: Conventions | None = None


def current() -> Conventions:
    """Return the conventions of the house, or of a new one while it has not been saved."""
    global _kept, _written_by
    if instead := _instead.get():
        return instead
    kept = _kept
    if kept is None:
        kept = _kept = _read()
    if kept != _written_by:
        _written_by = kept
        formats.reset_format_cache()
    return kept


def house() -> House:
    """Return the house as it was read for its conventions: to be looked at, never to be saved.

    Each request reads it anyway, so that this costs no question of its own.
    """
    from inventory.shared.models import House

    current()
    read = _house
    return House.current() if read is None else copy(read)


def _read() -> Conventions:
    global _house, _is_there
    from inventory.shared.models import House

    # There is no table before the first migration; a question that fails spoils a transaction.
    unsure = connection.in_atomic_block and not _is_there
    try:
        with transaction.atomic() if unsure else nullcontext():
            house = House.current()
        _is_there = True
        _house = house
    except DatabaseError:
        house = House()
    return Conventions(**{each.name: getattr(house, each.name) for each in fields(Conventions)})


_instead: ContextVar[Conventions | None] = ContextVar("conventions_instead", default=None)


@contextmanager
def in_currency(currency: str) -> Iterator[None]:
    """Write amounts in the currency of a document, which may be older than the house's own."""
    token = _instead.set(replace(current(), currency=currency)) if currency else None
    try:
        yield
    finally:
        if token is not None:
            _instead.reset(token)


def use(conventions: Conventions) -> None:
    """Go by these until they are read again, as a test without a database does."""
    global _house, _kept
    _house, _kept = None, conventions


def read_again() -> None:
    """Read them anew when they are next asked for: somebody may have changed them."""
    global _house, _kept
    _house = _kept = None


def forget() -> None:
    """Read them anew, and write numbers by them: the house was saved.

    A page that reads a number may not have asked for anything else before.
    """
    read_again()
    formats.reset_format_cache()


_uses: dict[str, list[Callable[[], bool]]] = defaultdict(list)


def register_use(name: str, is_used: Callable[[], bool]) -> None:
    """Tell a question to the database that says whether "currency" or "weight_unit" is in use."""
    _uses[name].append(is_used)


def is_fixed(name: str) -> bool:
    """Tell whether anything is priced or booked by this convention, so that it can't change."""
    return any(is_used() for is_used in _uses[name])
