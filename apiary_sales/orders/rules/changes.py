"""Changing an order or a quote: what a line may be changed to, comes to, and how it is told.

A line that was handed over in part keeps what was handed over and what that came to; only the rest
can be changed.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules import service_units
from apiary_sales.orders.rules.lines import (
    UNIT_PRICE_MAX,
    UNIT_PRICE_STEP,
    gross_cents,
    is_whole_drum,
    vessel_of,
)
from inventory.shared import checks, words
from inventory.shared.errors import Problems
from inventory.stock.rules import PIECES_MAX


@dataclass(frozen=True)
class OrderLineChange:
    """What a line of an order, by its key, is changed to; what is None stays as it is.

    The quantity is that of the whole line, with what is handed over; 0 takes the line off. A price
    or a discount that differs needs a reason.
    """

    line: int
    quantity: int | None = None
    unit_price: Decimal | None = None
    discount_cents: int | None = None
    price_reason: str = ""


@dataclass(frozen=True)
class LineFigures:
    """What a line comes to, in cents; `rounding_cents` is what it comes to more."""

    discount_cents: int
    rounding_cents: int
    amount_cents: int


def figures(
    line: OrderLine, quantity: int, unit_price: Decimal, discount_cents: int, given_cents: int
) -> LineFigures:
    """Return what a line comes to at another quantity, price or discount.

    `given_cents` is what is handed over of it comes to. The line never comes to less, and to
    exactly that where nothing is left to hand over: the discount makes up the difference, or, where
    that would be below zero, the rounding.
    """
    gross = gross_cents(line.kind, quantity, unit_price)
    room = max(0, gross - given_cents)
    discount = room if line.filled and quantity == line.filled else min(discount_cents, room)
    rounding = max(0, given_cents - gross)
    return LineFigures(discount, rounding, gross - discount + rounding)


def state_of(order: Order, lines: Iterable[OrderLine]) -> str:
    """Return a short text that differs whenever something that can be changed differs.

    A page sends it along, so that nobody changes an order that somebody else changed meanwhile.
    """
    facts: list[object] = [
        str(order.status),
        order.wanted_on,
        order.valid_until,
        order.customer_reference,
        order.ship_to_id,
        order.note,
    ]
    facts += [
        (
            line.pk,
            line.product_id,
            line.drum_id,
            line.quantity,
            line.filled,
            f"{line.unit_price:.4f}",
            line.discount_cents,
        )
        for line in lines
    ]
    return hashlib.sha256(repr(facts).encode()).hexdigest()[:16]


def check(problems: Problems, index: int, line: OrderLine, change: OrderLineChange) -> None:
    """Collect what is wrong with a change of a line, whatever is in stock."""
    _check_quantity(problems, f"changes.{index}.quantity", line, change.quantity)
    price, discount = change.unit_price, change.discount_cents
    is_new_price = price is not None and price != line.unit_price
    is_new_discount = discount is not None and discount != line.discount_cents
    name = f"changes.{index}.unit_price"
    if is_new_price and price is not None:
        if not Decimal(0) <= price <= UNIT_PRICE_MAX:
            problems.add(name, _("Enter a price from zero to a million."))
        elif price != price.quantize(UNIT_PRICE_STEP):
            problems.add(name, _("Enter a price with at most four decimals."))
        elif line.filled and change.quantity in (None, line.filled) and not line.to_fill:
            problems.add(name, _all_handed_over(line))
    if discount is not None and discount < 0:
        problems.add(f"changes.{index}.discount_cents", _("A discount can't be below zero."))
    if (is_new_price or is_new_discount) and not change.price_reason.strip():
        problems.add(
            f"changes.{index}.price_reason",
            _("Say why the price of %(what)s is changed.") % {"what": line.description},
        )


def _check_quantity(
    problems: Problems, parameter: str, line: OrderLine, quantity: int | None
) -> None:
    if quantity is None or quantity == line.quantity:
        return
    if quantity < line.filled:
        problems.add(
            parameter,
            _(
                "%(filled)s of %(what)s are handed over already. Enter that much or more, or "
                "credit what comes back."
            )
            % {"filled": in_words(line, line.filled), "what": line.description},
        )
    elif quantity < 0:
        problems.add(parameter, _("Enter 0 or more."))
    elif is_whole_drum(line) and quantity:
        problems.add(
            parameter,
            _("%(drum)s is sold whole. Enter 0 to take it off, or put another in its place.")
            % {"drum": vessel_of(line).name},
        )
    elif line.is_by_weight:
        if quantity > checks.GRAMS_MAX:
            checks.check_grams(problems, parameter, quantity)
    elif line.kind == OrderLine.Kind.SERVICE:
        if quantity:
            service_units.check(problems, parameter, quantity)
    elif quantity > PIECES_MAX:
        problems.add(parameter, _("That is too much for one line. Check the figure."))


def _all_handed_over(line: OrderLine) -> str:
    return _(
        "All of %(what)s is handed over, so its price can't be changed here. Credit the difference "
        "on the invoice."
    ) % {"what": line.description}


def in_words(line: OrderLine, quantity: int) -> str:
    """Write a quantity of a line with its unit."""
    if line.is_by_weight:
        return words.weight(quantity, 2)
    if line.service is not None:
        return f"{service_units.in_words(quantity)} {line.service.get_unit_display()}"
    if line.kind == OrderLine.Kind.PACKED:
        return words.pieces(quantity)
    return words.number(quantity)


def told_of_quantity(line: OrderLine, before: int, after: int) -> str:
    """Say how a quantity changed: "One pound: 24 pieces → 30 pieces"."""
    if not after:
        return _("%(what)s: %(before)s taken off") % {
            "what": line.description,
            "before": in_words(line, before),
        }
    return f"{line.description}: {in_words(line, before)} → {in_words(line, after)}"


def told_of_price(line: OrderLine, before: Decimal, after: Decimal, reason: str) -> str:
    return _("%(what)s: price %(before)s → %(after)s (%(reason)s)") % {
        "what": line.description,
        "before": words.unit_price(before),
        "after": words.unit_price(after),
        "reason": reason,
    }


def told_of_discount(line: OrderLine, before: int, after: int, reason: str) -> str:
    return _("%(what)s: discount %(before)s → %(after)s (%(reason)s)") % {
        "what": line.description,
        "before": words.money(before),
        "after": words.money(after),
        "reason": reason,
    }


def told_of_new(line: OrderLine) -> str:
    return _("Added: %(what)s, %(quantity)s at %(price)s") % {
        "what": line.description,
        "quantity": in_words(line, line.quantity),
        "price": words.unit_price(line.unit_price),
    }
