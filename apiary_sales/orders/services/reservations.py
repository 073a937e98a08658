"""Stock reserved for order lines; `Balance.reserved` in the ledger is always the sum.

Jars are promised oldest lot first over the shelves, the stand and the van, drums whole. Call with
the order's row and the items of its lines locked.
"""

from collections.abc import Iterable, Sequence
from typing import cast

from django.db.models import Min, QuerySet, Sum
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.orders.models import OrderLine, Reservation
from apiary_sales.orders.rules.lines import OF_PRODUCTS, is_whole_drum, product_of, vessel_of
from inventory.bottling.models import Product
from inventory.shared import words
from inventory.shared.errors import (
    HouseError,
    LotOnHold,
    NotAllowedNow,
    NotEnoughHoney,
    NotEnoughStock,
    Problems,
    StockReserved,
)
from inventory.stock.models import Balance, Lot, Place
from inventory.stock.rules import hold_reason
from inventory.stock.services import ledger, stores

# So much of one item, place and lot, promised to a line.
Promise = tuple[OrderLine, ledger.ReservedStock]


def reserve(lines: Sequence[OrderLine], *, parameter: str | None = None) -> None:
    """Promise the goods of every line of a new order, or none of them.

    Raises `NotEnoughStock`, `NotEnoughHoney`, `StockReserved`, `LotOnHold` or `NotAllowedNow`, one
    for each line that can't be promised: at `<parameter>.<position>.quantity` or `.drum` where the
    caller was given the lines as that parameter.
    """

    def parameter_of(index: int, name: str) -> str | None:
        return parameter and f"{parameter}.{index}.{name}"

    problems, picker = Problems(), Picker(shelves())
    promises: list[Promise] = []
    for index, line in enumerate(lines):
        try:
            if line.kind in OF_PRODUCTS:
                picked = picker.pick(line, parameter_of(index, "quantity"))
                promises += [(line, as_stock(balance, taken)) for balance, taken in picked]
            elif line.kind == OrderLine.Kind.HONEY:
                there = find_honey(line, parameter_of(index, "drum"))
                if is_whole_drum(line):
                    promises.append((line, as_stock(there, line.quantity)))
        except HouseError as error:
            problems.add_error(error)
    problems.raise_any()
    add(promises, are_new=True)


def add(promises: Sequence[Promise], *, are_new: bool = False) -> None:
    """Promise these quantities to these lines, on top of what they are promised already.

    Lines that `are_new` have no promise yet.
    """
    balances = ledger.reserve(stock for _line, stock in promises) if promises else []
    there = () if are_new else of(line for line, _stock in promises)
    known = {(row.line_id, row.balance_id): row for row in there}
    for (line, stock), balance in zip(promises, balances, strict=True):
        row = known.setdefault(
            (line.pk, balance.pk), Reservation(line=line, balance=balance, quantity=0)
        )
        row.quantity += stock.quantity
        row.save()


def release(lines: Iterable[OrderLine]) -> None:
    """Take back every promise made to these lines."""
    _release(list(of(lines)))


def release_part(line: OrderLine, quantity: int) -> None:
    """Take back so much of what is promised to a line, the youngest lot first."""
    for row in reversed(of([line])):
        part = min(quantity, row.quantity)
        if part:
            ledger.release([as_stock(row.balance, part)])
            use(row, part)
            quantity -= part


def honey_in(drum: Place) -> int:
    """Return the grams that are in a drum; raises `NotEnoughHoney` where it is empty."""
    there = Balance.objects.in_vessel(drum)
    if there is None or not drum.is_active:
        raise NotEnoughHoney(
            _("%(drum)s is empty or no longer here. Choose another.") % {"drum": drum.name},
            parameter="drum",
            asked=0,
            there=0,
        )
    return there.quantity


def _release(promised: Sequence[Reservation]) -> None:
    if promised:
        ledger.release(as_stock(row.balance, row.quantity) for row in promised)
        Reservation.objects.filter(pk__in=[row.pk for row in promised]).delete()


def repick(lines: Sequence[OrderLine]) -> list[Lot]:
    """Reserve jars of other lots in place of lots now on hold; return the released lots.

    Raises `NotEnoughStock`, and then nothing is changed.
    """
    known = {line.pk: line for line in lines if line.kind in OF_PRODUCTS}
    held = [row for row in of(known.values()) if row.lot.is_on_hold]
    problems, picker = Problems(), Picker(shelves())
    promises: list[Promise] = []
    for row in held:
        line = known[row.line_id]
        try:
            picked = picker.pick(line, None, row.quantity)
        except NotEnoughStock as error:
            problems.add_error(error)
        else:
            promises += [(line, as_stock(balance, taken)) for balance, taken in picked]
    problems.raise_any()
    _release(held)
    add(promises)
    return list(dict.fromkeys(row.lot for row in held))


def of(lines: Iterable[OrderLine]) -> QuerySet[Reservation]:
    """Return what is promised to these lines, oldest lot first."""
    return (
        Reservation.objects.filter(line__in=list(lines))
        .select_related("balance__item", "balance__place", "balance__lot")
        .order_by("balance__lot__best_by", "balance__lot__made_on", "balance__lot_id", "balance_id")
    )


def as_stock(balance: Balance, quantity: int) -> ledger.ReservedStock:
    return ledger.ReservedStock(balance.item, balance.place, balance.lot, quantity)


def use(reservation: Reservation, quantity: int) -> None:
    """Reduce a reservation by the quantity that is handed over."""
    reservation.quantity -= quantity
    if reservation.quantity:
        reservation.save(update_fields=["quantity"])
    else:
        reservation.delete()


def shelves() -> list[Place]:
    """Return every shelf, stand and van in use."""
    return list(Place.objects.filter(kind__in=Place.STORES, is_active=True))


def check_not_on_hold(lot: Lot | None, parameter: str | None) -> None:
    if lot is not None and lot.is_on_hold:
        raise LotOnHold(
            _("Lot %(lot)s is on hold and can't be sold: %(reason)s")
            % {"lot": lot.code, "reason": hold_reason(lot)},
            parameter=parameter,
        )


def check_is_ours(lot: Lot | None, parameter: str | None) -> None:
    if lot is not None and lot.owner is not None:
        raise NotAllowedNow(
            _("Lot %(lot)s belongs to %(owner)s and can't be sold. Choose another.")
            % {"lot": lot.code, "owner": lot.owner},
            parameter=parameter,
        )


class Picker:
    """Choose free jars for one line after another, none of them twice, with the items locked."""

    def __init__(self, places: list[Place], *, at: Place | None = None) -> None:
        self._places = places
        self._at = at
        self._given: dict[int, int] = {}

    def pick(
        self, line: OrderLine, parameter: str | None, quantity: int | None = None
    ) -> list[tuple[Balance, int]]:
        """Return the balances to take the line, or so much of it, from, oldest lot first.

        Raises `NotEnoughStock`.
        """
        asked = line.quantity if quantity is None else quantity
        picked, wanted = [], asked
        for balance in stores.free_at(product_of(line).item, self._places):
            given = self._given.get(balance.pk, 0)
            taken = min(wanted, balance.free - given)
            if taken > 0:
                self._given[balance.pk] = given + taken
                picked.append((balance, taken))
                wanted -= taken
            if wanted == 0:
                return picked
        raise self._not_enough(product_of(line), asked, asked - wanted, parameter)

    def _not_enough(
        self, product: Product, asked: int, free: int, parameter: str | None
    ) -> NotEnoughStock:
        balances = Balance.objects.filter(item=product.item, place__in=self._places)
        promised = balances.aggregate(pieces=Sum("reserved"))["pieces"] or 0
        if product.item.is_weighed and promised:
            sentence = _(
                "Not enough %(product)s. Asked for: %(asked)s. Free: %(free)s. Reserved for "
                "orders: %(promised)s. Take less."
            )
        elif product.item.is_weighed:
            sentence = _("Not enough %(product)s. Asked for: %(asked)s. Free: %(free)s. Take less.")
        elif self._at is not None and promised:
            sentence = _(
                "Not enough %(product)s at %(place)s. Asked for: %(asked)s. Free: %(free)s. "
                "Reserved for orders: %(promised)s. Take fewer."
            )
        elif self._at is not None:
            sentence = _(
                "Not enough %(product)s at %(place)s. Asked for: %(asked)s. Free: %(free)s. "
                "Take fewer."
            )
        elif promised:
            sentence = _(
                "Not enough %(product)s. Asked for: %(asked)s. Free: %(free)s. Reserved for "
                "orders: %(promised)s. Take fewer, or plan a bottling run."
            )
        else:
            sentence = _(
                "Not enough %(product)s. Asked for: %(asked)s. Free: %(free)s. Take fewer, or "
                "plan a bottling run."
            )
        written = product.item.in_words_apart(asked, free, promised)
        figures = {
            "product": product.name,
            **dict(zip(("asked", "free", "promised"), written, strict=True)),
            "place": self._at.name if self._at else "",
        }
        return NotEnoughStock(
            stores.with_held(sentence % figures, product.item, self._places)
            + self._setting(balances),
            parameter=parameter,
            asked=asked,
            there=free,
        )

    def _setting(self, balances: QuerySet[Balance]) -> str:
        """Say how many are not ready yet, after a space; empty where none are."""
        setting = balances.filter(quantity__gt=0, lot__ready_on__gt=timezone.localdate())
        found = setting.aggregate(pieces=Sum("quantity"), day=Min("lot__ready_on"))
        if not found["pieces"]:
            return ""
        return " " + _("%(pieces)s more are setting: ready from %(day)s.") % {
            "pieces": words.pieces(found["pieces"]),
            "day": date_format(found["day"]),
        }


def find_honey(line: OrderLine, parameter: str | None, *, grams: int | None = None) -> Balance:
    """Return the honey a line is to be taken from, when it is there, free and as agreed.

    Of honey that is drawn, `grams` must be free where not all of the line is to be drawn.
    """
    asked_grams = line.quantity if grams is None else grams
    drum = vessel_of(line)
    there = Balance.objects.in_vessel(drum)
    figures = {"drum": drum.name}
    if there is None or not drum.is_active:
        raise NotEnoughHoney(
            _("%(drum)s is empty or no longer here. Choose another.") % figures,
            parameter=parameter,
            asked=line.quantity,
            there=0,
        )
    lot = cast(Lot, there.lot)
    check_not_on_hold(lot, parameter)
    check_is_ours(lot, parameter)
    if is_whole_drum(line):
        if there.reserved:
            taken_by = Reservation.objects.filter(balance=there).select_related("line__order")
            raise StockReserved(
                _("%(drum)s is reserved for order %(order)s. Choose another.")
                % {**figures, "order": ", ".join(row.line.order.number for row in taken_by)},
                parameter=parameter,
            )
        if there.quantity != line.quantity or (line.lot and line.lot != lot):
            now, agreed = words.weights_apart(there.quantity, line.quantity)
            raise NotAllowedNow(
                _(
                    "%(drum)s has changed since the quote. It now has %(there)s of lot "
                    "%(lot)s; the quote says %(asked)s. Make a new quote."
                )
                % {**figures, "there": now, "asked": agreed, "lot": lot.code},
                parameter=parameter,
            )
    elif there.free < asked_grams:
        asked, free = words.weights_apart(asked_grams, there.free)
        raise NotEnoughHoney(
            _(
                "Not enough honey: you asked for %(asked)s, and %(drum)s has %(there)s "
                "free. Take less, or choose another vessel."
            )
            % {**figures, "asked": asked, "there": free},
            parameter=parameter,
            asked=asked_grams,
            there=there.free,
        )
    return there
