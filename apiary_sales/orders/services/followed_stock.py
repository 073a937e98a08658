"""Orders follow when stock turns out to be gone, or to be of another lot.

The ledger tells it (`inventory.stock.signals`), in the transaction of the entry that shows it.
"""

from typing import Any

from django.utils.translation import gettext as _

from apiary_sales.orders.models import FulfilmentLine, OrderEvent, OrderLine, Reservation
from apiary_sales.orders.rules.lines import OF_PRODUCTS, product_of
from apiary_sales.orders.services import reservations, weights
from inventory.shared import keys
from inventory.shared.people import Person
from inventory.stock.models import Balance, Item, Lot, Place
from inventory.stock.services import ledger, stores
from inventory.stock.services.retelling import EntryCorrection, Retold


def promise_moved(
    *,
    balance: Balance,
    other: Balance | None,
    quantity: int,
    person: Person,
    key: str,
    **_signal: Any,
) -> None:
    """Let the youngest orders give way: with other goods where there are any, else without."""
    rows = Reservation.objects.filter(balance=balance).select_related(
        "line__order", "line__product__item", "line__product__size", "balance__item"
    )
    for row in rows.order_by("-line__order_id", "-pk"):
        if quantity <= 0:
            return
        part = min(quantity, row.quantity)
        quantity -= part
        reservations.use(row, part)
        if other is not None:
            _add(row.line, other, part)
        else:
            _give_way(row.line, balance, part, person=person, key=key)


def drum_weighed(*, drum: Place, lot: Lot, person: Person, key: str, **_signal: Any) -> None:
    """Let the order that has a drum reserved be of what it weighs now, at its price a pound."""
    row = (
        Reservation.objects.filter(balance__place=drum, balance__lot=lot)
        .select_related("line__order", "balance__item", "balance__place", "balance__lot")
        .first()
    )
    if row is None:
        return
    there = Balance.objects.in_vessel(drum)
    if there is None or there.lot != lot:
        before = row.quantity
        row.delete()
        _give_way(row.line, row.balance, before, person=person, key=key)
        return
    ledger.reserve([reservations.as_stock(there, there.quantity)])
    row.quantity = there.quantity
    row.save(update_fields=["quantity"])
    weights.fill_with(row.line, there.quantity)
    settle_gave_way([row.line])


def _add(line: OrderLine, balance: Balance, quantity: int) -> None:
    """Note a promise that the ledger has moved already."""
    row = Reservation.objects.filter(line=line, balance=balance).first()
    if row is None:
        row = Reservation(line=line, balance=balance, quantity=0)
    row.quantity += quantity
    row.save()


def _give_way(
    line: OrderLine, balance: Balance, quantity: int, *, person: Person, key: str
) -> None:
    missing = quantity
    if line.kind in OF_PRODUCTS:
        promises: list[reservations.Promise] = []
        for free in stores.free_at(product_of(line).item, reservations.shelves()):
            taken = min(missing, free.free)
            if taken > 0:
                promises.append((line, reservations.as_stock(free, taken)))
                missing -= taken
        reservations.add(promises)
    if missing:
        line.gave_way += missing
        line.save(update_fields=["gave_way"])
    item = balance.item
    OrderEvent.objects.get_or_create(
        idempotency_key=keys.part(key, f"order-{line.pk}-{balance.pk}"),
        defaults={
            "order": line.order,
            "kind": OrderEvent.Kind.GAVE_WAY,
            "recorded_by": person,
            "note": _(
                "%(gone)s of %(item)s, lot %(lot)s, were reserved and are gone. Others reserved "
                "instead: %(others)s. Missing: %(missing)s."
            )
            % {
                "gone": item.in_words(quantity),
                "item": item.name,
                "lot": balance.lot or "",
                "others": item.in_words(quantity - missing),
                "missing": item.in_words(missing),
            },
        },
    )


def entries_retold(*, retold: Retold, **_signal: Any) -> None:
    """Let what was handed over name the lot that it turned out to be."""
    for correction in retold.corrections:
        if correction.item.kind == Item.Kind.HONEY:
            _name_lots(correction)


def _name_lots(correction: EntryCorrection) -> None:
    customers = Place.objects.outside(Place.Kind.CUSTOMER).pk
    change = {lot: n for (place, lot), n in correction.change.items() if place == customers}
    now = [lot for lot, quantity in change.items() if quantity > 0]
    if not now:
        return
    for lot, quantity in change.items():
        if quantity < 0:
            FulfilmentLine.objects.filter(
                fulfilment__posting=correction.event.posting, lot=lot, quantity__lte=-quantity
            ).update(lot=now[0])


def settle_gave_way(lines: list[OrderLine]) -> None:
    """What is reserved or handed over by now is not missing any more."""
    reserved: dict[int, int] = {}
    for row in reservations.of(lines):
        reserved[row.line_id] = reserved.get(row.line_id, 0) + row.quantity
    for line in lines:
        missing = min(line.gave_way, max(0, line.to_fill - reserved.get(line.pk, 0)))
        if missing != line.gave_way:
            line.gave_way = missing
            line.save(update_fields=["gave_way"])
