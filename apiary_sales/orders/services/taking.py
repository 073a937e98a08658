"""Which stock a sale that happened took, however much the books had of it."""

from collections.abc import Sequence
from datetime import date

from django.db.models import F, IntegerField
from django.utils import timezone

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules import lines as rules
from apiary_sales.orders.services.fulfilments import TakenGoods
from inventory.shared.prepared import Given, PreparedQuery
from inventory.stock.models import Balance, Item, Lot, Place
from inventory.stock.services import honey, loads, lots, moments


def take_happened(
    lines: Sequence[OrderLine], place: Place, day: date | None = None
) -> list[TakenGoods]:
    """Return what each line took from a place: what could be sold first, then all else that is
    there, then what the books do not have, of the lot that was there last.

    Honey is of the lot that was in its vessel on `day`. Call with the items locked.
    """
    given: dict[int, int] = {}
    taken: list[TakenGoods] = []
    for line in lines:
        if line.kind in rules.OF_PRODUCTS:
            taken += _goods(line, place, given)
        elif line.kind == OrderLine.Kind.HONEY:
            taken.append(_honey(line, day))
    return taken


def _goods(line: OrderLine, place: Place, given: dict[int, int]) -> list[TakenGoods]:
    item, wanted = rules.product_of(line).item, line.quantity
    taken: dict[Lot | None, int] = {}
    for free, balance in _in_order(item, place):
        there = (balance.free if free else balance.quantity) - given.get(balance.pk, 0)
        part = min(wanted, max(there, 0))
        if part:
            given[balance.pk] = given.get(balance.pk, 0) + part
            taken[balance.lot] = taken.get(balance.lot, 0) + part
            wanted -= part
    if wanted:
        lot = loads.last_lot(item, place) or loads.last_lot(item)
        taken[lot] = taken.get(lot, 0) + wanted
    return [TakenGoods(line, item, place, lot, part) for lot, part in taken.items()]


def _in_order(item: Item, place: Place) -> list[tuple[bool, Balance]]:
    """Return the balances, those that could be sold first (True), oldest lot first; then all."""
    today = timezone.localdate()
    there = _THERE.rows(item=item.pk, place=place.pk)
    ready = [(True, balance) for balance in there if _is_for_sale(balance.lot, today)]
    return [*ready, *((False, balance) for balance in there)]


_THERE = PreparedQuery(
    lambda: (
        # Added to nothing, so that SQLite looks at what is at the place: by both it goes through
        # all that ever was there.
        Balance.objects.alias(item_key=F("item_id") + 0)
        .filter(
            item_key=Given("item", IntegerField()),
            place=Given("place", IntegerField()),
            quantity__gt=0,
        )
        .ours()
        .select_related("lot")
        .order_by("lot__best_by", "lot__made_on", "lot_id")
    )
)


def _is_for_sale(lot: Lot | None, today: date) -> bool:
    return lot is None or not (lot.is_on_hold or (lot.ready_on and lot.ready_on > today))


def _honey(line: OrderLine, day: date | None) -> TakenGoods:
    vessel = rules.vessel_of(line)
    moment = moments.of_draw(day, vessel)
    lot = honey.lot_drawn(vessel, moment) or lots.unknown(day or timezone.localdate())
    lots.save_unknown(lot)
    return TakenGoods(line, Item.objects.honey(), vessel, lot, line.quantity)
