"""What the house holds of a customer as a person: who holds it, and what becomes of it.

Each app that holds something registers a `DataHolder`: what it holds, for the page and the file
that a customer may ask for; what still needs it; and how it erases what the books need not keep.
What they need stays, and says why.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db.models import Model
from django.utils.formats import localize
from django.utils.functional import Promise

if TYPE_CHECKING:
    from apiary_sales.customers.models import Customer

# A name and what stands for it.
Row = dict[str, str]


@dataclass(frozen=True)
class HeldData:
    """One kind of thing that is held of a customer; `stays` is why erasing leaves it, or empty."""

    title: str | Promise
    rows: list[Row] = field(default_factory=list)
    stays: str | Promise = ""


@dataclass(frozen=True)
class DataHolder:
    """How an app tells what it holds of a customer, what still needs it, and how it is erased."""

    held: Callable[[Customer], list[HeldData]]
    still_needed: Callable[[Customer], Iterable[str]] = lambda customer: ()
    erase: Callable[[Customer], None] = lambda customer: None


_holders: list[DataHolder] = []


def register(holder: DataHolder) -> None:
    """Add what an app holds; pages and files show it in this order."""
    _holders.append(holder)


def holders() -> tuple[DataHolder, ...]:
    return tuple(_holders)


def row_of(thing: Model, *names: str) -> Row:
    """Return the fields of a thing in words, those that are empty left out."""
    row: Row = {}
    for name in names:
        value = getattr(thing, f"get_{name}_display", lambda name=name: getattr(thing, name))()
        if value not in (None, ""):
            row[str(thing._meta.get_field(name).verbose_name)] = str(localize(value))  # type: ignore[union-attr]
    return row
