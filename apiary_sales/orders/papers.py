"""Quotes, confirmations of orders and pick lists as papers: what each shows, and its PDF.

The same context feeds the page and the paper, so that they never disagree. Orders come from
`orders.queries.orders.for_page`.
"""

from collections import defaultdict
from collections.abc import Iterable
from copy import copy
from typing import Any

from django.utils import timezone, translation
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _

from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import drums
from apiary_sales.orders.rules import lines as rules
from inventory.shared import documents
from inventory.stock.models import Balance, Item, Lot, Place

# What is printed across the papers of an order that is off.
OFF = (
    Order.Status.CANCELLED,
    Order.Status.DECLINED,
    Order.Status.WITHDRAWN,
    Order.Status.EXPIRED,
    Order.Status.SUPERSEDED,
)


def quote_context(order: Order) -> dict[str, Any]:
    """Return what a quote shows: the weights that were offered, whatever was weighed out since."""
    return _context(order, [_as_offered(line) for line in order.lines.all()])


def order_context(order: Order) -> dict[str, Any]:
    """Return what the confirmation of an order shows."""
    return _context(order, list(order.lines.all()))


def _as_offered(line: OrderLine) -> OrderLine:
    """Return a line as it was before a scale changed its weight; it is not to be saved."""
    if line.ordered is None:
        return line
    offered = copy(line)
    offered.quantity = line.ordered
    offered.amount_cents = (
        rules.gross_cents(line.kind, line.ordered, line.unit_price) - line.discount_cents
    )
    return offered


def _context(order: Order, lines: list[OrderLine]) -> dict[str, Any]:
    lines = [line for line in lines if line.quantity]
    state = order.state_on(timezone.localdate())
    return {
        "order": order,
        "is_open": state == Order.Status.QUOTED,
        "state_note": _state_note(order, state),
        "lines": [(line, _pounds(line)) for line in lines],
        "has_drums": any(line.kind == OrderLine.Kind.HONEY and line.lot for line in lines),
        "figures": drums.figures(lines, on=order.placed_on),
        "across": across(order),
    }


def _state_note(order: Order, state: str) -> str:
    """Say on a quote that it can't be accepted any more, and why; nothing on an open one."""
    if state == Order.Status.QUOTED:
        return ""
    figures = {"number": order.number}
    if state == Order.Status.EXPIRED and order.valid_until:
        figures["day"] = date_format(order.valid_until)
        sentence = _("This quote was valid until %(day)s and can't be accepted any more.")
    elif state == Order.Status.SUPERSEDED:
        newer = Order.objects.filter(supersedes=order).first()
        figures["newer"] = newer.number if newer else ""
        sentence = _("Quote %(newer)s takes the place of this one.")
    elif state == Order.Status.DECLINED:
        sentence = _("The buyer declined this quote. It can't be accepted any more.")
    elif order.is_quote:
        sentence = _("This quote was withdrawn and can't be accepted any more.")
    elif state == Order.Status.CANCELLED:
        sentence = _("This quote or the order it became was cancelled.")
    else:
        sentence = _("This quote was accepted, and is order %(number)s now.")
    return sentence % figures


def can_be_confirmed(order: Order) -> bool:
    """Tell whether there is an order to confirm: no quote still, and not sold and paid at once."""
    return not order.is_quote and order.channel not in Order.AT_ONCE


def across(order: Order) -> str:
    """Return the word that is printed across the papers of an order that is off, or none."""
    state = order.state_on(timezone.localdate())
    return str(Order.Status(state).label) if state in OFF else ""


def _pounds(line: OrderLine) -> str:
    """Write the pounds of a line of honey as its invoice will; an empty text for other lines."""
    if line.kind != OrderLine.Kind.HONEY:
        return ""
    pounds = rules.printed_pounds(line.quantity, line.unit_price)
    return number_format(pounds, force_grouping=True)


def pick_list_context(order: Order) -> dict[str, Any]:
    """Return what is reserved for an order and still to fill, by place and lot."""
    places: dict[Place, list] = defaultdict(list)
    to_draw, to_do = [], []
    for line in order.lines.all():
        for reservation in line.reservations.all():
            place = reservation.balance.place
            row = {
                "line": line,
                "lot": reservation.balance.lot,
                "quantity": reservation.quantity,
                "gross_grams": reservation.quantity + (place.tare_grams or 0),
            }
            places[place].append(row)
        if line.kind == OrderLine.Kind.HONEY and line.to_fill and not rules.is_reserved(line):
            to_draw.append(line)
        elif line.kind == OrderLine.Kind.SERVICE and line.to_fill:
            to_do.append(line)
    lots = _lots_in(rules.vessel_of(line) for line in to_draw)
    shelves = [(place, rows) for place, rows in places.items() if not place.is_vessel]
    in_drums = [row for place, rows in places.items() if place.is_vessel for row in rows]
    return {
        "order": order,
        "shelves": sorted(shelves, key=lambda pair: pair[0].name),
        "drums": sorted(in_drums, key=lambda row: row["line"].drum.code),
        "by_weight": [(line, lots.get(rules.vessel_of(line).pk)) for line in to_draw],
        "to_do": to_do,
        "has_honey": bool(in_drums or to_draw),
    }


def _lots_in(vessels: Iterable[Place]) -> dict[int, Lot | None]:
    """Return the lot that is in each vessel now, by its key."""
    there = Balance.objects.filter(
        place__in=list(vessels), item__kind=Item.Kind.HONEY, quantity__gt=0
    ).select_related("lot")
    return {balance.place_id: balance.lot for balance in there}


def quote(order: Order) -> bytes:
    """Return a quote as PDF, in the customer's language; raises `PdfUnavailable`."""
    with translation.override(order.paper_language):
        return documents.render_pdf("documents/quote.html", quote_context(order))


def confirmation(order: Order) -> bytes:
    """Return the confirmation of an order as PDF, in the customer's language."""
    with translation.override(order.paper_language):
        return documents.render_pdf("documents/order_confirmation.html", order_context(order))


def pick_list(order: Order) -> bytes:
    """Return a pick list as PDF; raises `PdfUnavailable`."""
    return documents.render_pdf("documents/pick_list.html", pick_list_context(order))
