"""Which lots a recall is about, by what was typed: a code, a drum, an order or an invoice."""

import re
from collections.abc import Iterable

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from apiary_sales.orders.models import FulfilmentLine, Order, Reservation
from inventory.stock.models import Lot
from inventory.stock.queries.find_lots import MATCHES_MAX, LotMatch, LotsFound, find_lots
from inventory.stock.typed_codes import TypedCode

# As bills print it: the series, then the number with zeros before it. An order's has four digits.
INVOICE_NUMBER = re.compile(r"(?P<series>[A-Z]?\d{2})-(?P<number>\d{5,9})")


def find(typed: str) -> LotsFound:
    """Return the lots that fit, as `find_lots`, and those of an order or an invoice."""
    return find_lots(typed, also=(_by_order, _by_invoice))


def _by_order(asked: TypedCode) -> Iterable[LotMatch]:
    """Find what was handed over with an order, or is reserved for it."""
    order = Order.objects.filter(number__in=asked.spellings).first()
    if order is None:
        return []
    handed_over = FulfilmentLine.objects.filter(order_line__order=order, lot__isnull=False)
    reserved = Reservation.objects.filter(line__order=order, balance__lot__isnull=False)
    lots = Lot.objects.filter(
        Q(pk__in=handed_over.values("lot")) | Q(pk__in=reserved.values("balance__lot"))
    )
    return _matches(lots, _("in order %(number)s") % {"number": order.number})


def _by_invoice(asked: TypedCode) -> Iterable[LotMatch]:
    """Find what an invoice or a receipt bills."""
    billed = Q()
    for spelling in asked.spellings:
        if found := INVOICE_NUMBER.fullmatch(spelling):
            billed |= Q(
                invoice_lines__invoice__series=found["series"],
                invoice_lines__invoice__number=int(found["number"]),
            )
    if not billed:
        return []
    lines = FulfilmentLine.objects.filter(billed, lot__isnull=False)
    lots = Lot.objects.filter(pk__in=lines.values("lot"))
    return _matches(lots, _("on invoice %(number)s") % {"number": asked.code})


def _matches(lots: QuerySet[Lot], why: str) -> list[LotMatch]:
    """Return the lots; where a bill names several, somebody chooses."""
    latest = lots.select_related("product").order_by("-made_on", "-id")
    found = list(latest[: MATCHES_MAX + 1])
    return [LotMatch(lot, why, is_meant=len(found) == 1) for lot in found]
