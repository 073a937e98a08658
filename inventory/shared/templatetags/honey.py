"""Filters that say honey's words in the reader's language: colour classes and grades."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Protocol

from django import template
from django.utils.translation import gettext as _

from inventory.shared import words

register = template.Library()


class CountedItem(Protocol):
    """What quantities are counted in, as an item of the stock is: grams or pieces."""

    def in_words(self, quantity: int, decimals: int | None = None) -> str: ...


@register.filter
def colour_word(colour_class: str | None) -> str:
    """Say a colour class: "Extra Light Amber" → "extra light amber"; nothing while unknown."""
    return words.colour(colour_class) if colour_class else ""


@register.filter
def grade_word(grade: str) -> str:
    """Say the best grade of the United States standard that a moisture allows."""
    return words.grade(grade)


@register.filter
def depth(mm: int | None) -> str:
    """Say a depth: 1321 → "52.0 in (1,321 mm)"; nothing while unknown."""
    return "" if mm is None else words.depth(mm)


@register.filter
def temperature(celsius: Decimal) -> str:
    """Say a temperature: 33.3 → "92 °F (33.3 °C)"."""
    return words.temperature(celsius)


@register.filter
def quantity_of(quantity: int, item: CountedItem) -> str:
    """Say a quantity of an item in the unit people use for it: pounds and tenths, or pieces.

    In the books what goes out and what comes in stand side by side, so all of it has tenths.
    """
    return item.in_words(quantity, 1)


@register.filter
def change_of(quantity: int, item: CountedItem) -> str:
    """Say how much of an item came, or went where it is below zero: "−44.1 lb"."""
    return item.in_words(quantity, 1).replace("-", words.MINUS)


@register.filter
def signed_change_of(quantity: int, item: CountedItem) -> str:
    """Say a change with its sign, plus included: "+44.1 lb"."""
    said = change_of(quantity, item)
    return f"+{said}" if quantity > 0 else said


@register.filter
def out_of(quantity: int, item: CountedItem) -> str:
    """Say what a line takes away, without its sign: the column says that it went out."""
    return item.in_words(-quantity, 1)


@register.filter
def names(things: Iterable[object]) -> str:
    """Join the names of places or lots: "Tank 1, Tank 2"."""
    return ", ".join(str(thing) for thing in things)


@register.filter
def minutes_and_seconds(seconds: int) -> str:
    """Say how long something took: 3725 → "1 h 2 min 5 s"."""
    hours, rest = divmod(seconds, 3600)
    minutes, seconds = divmod(rest, 60)
    parts = [
        _("%(count)s h") % {"count": hours} if hours else "",
        _("%(count)s min") % {"count": minutes} if hours or minutes else "",
        _("%(count)s s") % {"count": seconds},
    ]
    return " ".join(part for part in parts if part)
