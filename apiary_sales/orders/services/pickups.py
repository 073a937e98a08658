"""Pieces of an order that its buyer fetches: from which stock they are taken.

These are the parts of `orders.fulfil`, which owns the transaction and the locks.
"""

from collections import Counter
from collections.abc import Iterable, Mapping

from django.db.models import Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.orders.models import Fulfilment, FulfilmentLine, Order, OrderLine, Reservation
from apiary_sales.orders.rules.lines import product_of
from apiary_sales.orders.services import fulfilments, reservations
from apiary_sales.orders.services.fulfilments import TakenGoods
from inventory.shared import words
from inventory.shared.errors import NotEnoughStock, Problems
from inventory.stock.models import Place
from inventory.stock.services import stores


def take(
    quantities: Mapping[OrderLine, int], place: Place, *, is_brought: bool = False
) -> list[TakenGoods]:
    """Return where pieces are taken from when they are handed over at a place; change no row.

    What is reserved at the place goes first. With `is_brought`, what is reserved elsewhere was
    carried there and is taken from where the books have it; then come free pieces of the place.
    Raises `NotEnoughStock` at `quantities.<key>`, which says where the missing pieces are.
    """
    promised: dict[int, list[Reservation]] = {}
    for row in reservations.of(quantities):
        promised.setdefault(row.line_id, []).append(row)
    problems, given = Problems(), Counter[int]()
    taken: list[TakenGoods] = []
    for line, quantity in quantities.items():
        if line.kind != OrderLine.Kind.PACKED:
            continue
        found = _reserved(line, quantity, promised.get(line.pk, []), place, is_brought=is_brought)
        missing = quantity - sum(goods.quantity for goods in found)
        found += _free(line, missing, place, given)
        there = sum(goods.quantity for goods in found)
        if there < quantity:
            problems.add_error(_not_here(line, quantity, there, promised.get(line.pk, []), place))
        taken += found
    problems.raise_any()
    return taken


def draft(
    order: Order, quantities: Mapping[OrderLine, int], place: Place, *, is_brought: bool = False
) -> list[FulfilmentLine]:
    """Return what would be handed over now, unsaved, line by line and lot by lot.

    Raises as `take`.
    """
    now = Fulfilment(order=order, filled_on=timezone.localdate())
    taken = take(quantities, place, is_brought=is_brought)
    given = fulfilments.amounts_given(quantities)
    return [
        FulfilmentLine(
            fulfilment=now, order_line=line, lot=lot, quantity=portion, amount_cents=cents
        )
        for line, quantity in quantities.items()
        for lot, portion, cents in fulfilments.shares_of(
            line, quantity, taken, given.get(line.pk, 0)
        )
    ]


def release_beyond(lines: Iterable[OrderLine]) -> None:
    """Free what is reserved for lines beyond what is left of them to hand over.

    Free pieces were handed over in place of those reserved elsewhere.
    """
    for line in lines:
        rows = reservations.of([line])
        reserved: int = rows.aggregate(pieces=Sum("quantity"))["pieces"] or 0
        if reserved > line.to_fill:
            reservations.release_part(line, reserved - line.to_fill)


def _reserved(
    line: OrderLine, quantity: int, rows: list[Reservation], place: Place, *, is_brought: bool
) -> list[TakenGoods]:
    usable = [row for row in rows if not row.lot.is_on_hold]
    here = [row for row in usable if row.balance.place_id == place.pk]
    elsewhere = [row for row in usable if row.balance.place_id != place.pk]
    taken = []
    for row in [*here, *(elsewhere if is_brought else [])]:
        part = min(quantity, row.quantity)
        if part:
            balance = row.balance
            taken.append(TakenGoods(line, balance.item, balance.place, balance.lot, part, row))
            quantity -= part
    return taken


def _free(line: OrderLine, wanted: int, place: Place, given: Counter[int]) -> list[TakenGoods]:
    taken = []
    for balance in stores.free_at(product_of(line).item, [place]):
        part = min(wanted, balance.free - given[balance.pk])
        if part > 0:
            given[balance.pk] += part
            taken.append(TakenGoods(line, balance.item, balance.place, balance.lot, part))
            wanted -= part
    return taken


def _not_here(
    line: OrderLine, asked: int, there: int, rows: list[Reservation], place: Place
) -> NotEnoughStock:
    pieces: Counter[str] = Counter()
    held = 0
    for row in rows:
        if row.lot.is_on_hold:
            held += row.quantity
        elif row.balance.place_id != place.pk:
            pieces[row.balance.place.name] += row.quantity
    told = [
        _("%(what)s at %(place)s. To hand over: %(asked)s. There: %(there)s.")
        % {
            "what": line.description,
            "place": place.name,
            "asked": words.pieces(asked),
            "there": words.pieces(there),
        }
    ]
    if pieces:
        where = ", ".join(f"{name}: {words.pieces(count)}" for name, count in pieces.items())
        told.append(
            _("Reserved elsewhere: %(where)s. Bring them first, and say so.") % {"where": where}
        )
    if held:
        told.append(_("On hold: %(pieces)s.") % {"pieces": words.pieces(held)})
    told.append(_("Hand over fewer, or ask the office."))
    return NotEnoughStock(
        " ".join(told), parameter=f"quantities.{line.pk}", asked=asked, there=there
    )
