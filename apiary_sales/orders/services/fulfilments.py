"""Handing over goods: which stock is taken, what it cost, and its share of the price.

These are the parts of the acts in `orders`, which owns the transaction and the locks.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import cast

from django.utils import timezone

from apiary_sales.orders.costs_of_sales import CostsOfSales
from apiary_sales.orders.models import (
    Fulfilment,
    FulfilmentLine,
    Order,
    OrderLine,
    Reservation,
    Weighing,
)
from apiary_sales.orders.rules.lines import is_whole_drum, vessel_of
from apiary_sales.orders.rules.weighing import Weighed
from inventory.bottling.services import returned_jars
from inventory.shared import keys
from inventory.shared.money import share_cents, split_cents
from inventory.shared.people import Person
from inventory.shared.rows import save_fields
from inventory.stock.models import Item, Lot, Place, Posting
from inventory.stock.services import average_closings, ledger, moments


@dataclass(frozen=True)
class TakenGoods:
    """A quantity of a lot taken from a place for a line, from reserved or from free stock."""

    line: OrderLine
    item: Item
    place: Place
    lot: Lot | None
    quantity: int
    reservation: Reservation | None = None


def post_sale(
    taken: Sequence[TakenGoods],
    *,
    recorded_by: Person,
    key: str,
    day: date | None,
    note: str,
    sold_at: datetime | None = None,
    has_happened: bool = False,
    place_is_known: bool = False,
) -> Posting | None:
    """Post the goods out to the customers; return None when only charges are handed over.

    Of a sale that `has_happened` what the books lack is settled later. `sold_at` is when goods left
    the counter, where more than the day is known; `place_is_known` where they were sold at the
    place they are taken from, so that no other shelf can have given them.
    """
    if not taken:
        return None
    customers = Place.objects.outside(Place.Kind.CUSTOMER)
    vessels = {goods.place for goods in taken if goods.place.is_vessel}
    lines = [
        line
        for goods in taken
        for line in ledger.move(
            item=goods.item,
            lot=goods.lot,
            source=goods.place,
            target=customers,
            quantity=goods.quantity,
        )
    ]
    return ledger.post(
        kind=Posting.Kind.SALE,
        lines=lines,
        recorded_by=recorded_by,
        key=key,
        # After honey that came in that day: a drum filled and sold on it was filled first.
        occurred_at=moments.of_draw(day, *vessels) if vessels or sold_at is None else sold_at,
        note=note,
        releases=[
            ledger.ReservedStock(goods.item, goods.place, goods.lot, goods.quantity)
            for goods in taken
            if goods.reservation
        ],
        has_happened=has_happened,
        place_is_known=place_is_known,
    )


def record(
    order: Order,
    *,
    wanted: dict[OrderLine, int],
    taken: Sequence[TakenGoods],
    posting: Posting | None,
    filled_by: Person,
    filled_on: date | None,
    key: str,
    weighed: Mapping[OrderLine, Weighed] | None = None,
    are_new: bool = False,
) -> Fulfilment:
    """Write the fulfilment with one line for each order line and lot; count the lines filled.

    The amounts of all fulfilments of a line add up to the amount of the line. The costs of all
    sales of a lot add up to the cost of the lot, unless that cost was changed meanwhile or the
    weighted average is used. Each amount is the difference of two running totals, rounded half to
    even, so the sold part and the remaining part differ from the whole by half a cent at most.
    `are_new` says that the lines are of the same act, so that nothing was handed over of them.
    """
    fulfilment = Fulfilment.objects.create(
        order=order,
        posting=posting,
        filled_on=filled_on or timezone.localdate(),
        filled_by=filled_by,
        idempotency_key=key,
        drums_are_open=any(line.drum_id for line in wanted),
    )
    costs = CostsOfSales((goods.lot for goods in taken), posting)
    weighings = {line: _weighing(how) for line, how in (weighed or {}).items()}
    given = {} if are_new else amounts_given(wanted)
    rows: list[FulfilmentLine] = []
    for line, quantity in wanted.items():
        rows += [
            FulfilmentLine(
                fulfilment=fulfilment,
                order_line=line,
                lot=lot,
                weighing=weighings.get(line),
                quantity=portion,
                amount_cents=share,
                cost_cents=costs.of(line, lot, portion),
            )
            for lot, portion, share in shares_of(line, quantity, taken, given.get(line.pk, 0))
        ]
        line.filled += quantity
    FulfilmentLine.objects.bulk_create(rows)
    average_closings.close(costs.to_close)
    update_lines(wanted, rows if are_new else None)
    fulfilment.just_made = rows
    return fulfilment


def shares_of(
    line: OrderLine, quantity: int, taken: Iterable[TakenGoods], given_cents: int
) -> list[tuple[Lot | None, int, int]]:
    """Return the lots of a line that is handed over, with their quantities and cents.

    `given_cents` is what earlier fulfilments carry of the amount of the line.
    """
    portions = _by_lot(goods for goods in taken if goods.line == line) or {None: quantity}
    rest = line.to_fill - quantity
    shares = split_cents(line.amount_cents - given_cents, [*portions.values(), rest])
    return [
        (lot, portion, share)
        for (lot, portion), share in zip(portions.items(), shares, strict=False)
    ]


def _weighing(how: Weighed) -> Weighing | None:
    """Write down a tare or a volume; a net weight alone is the quantity itself."""
    if how.gross_grams is None and how.millilitres is None:
        return None
    return Weighing.objects.create(**asdict(how))


def keep_apart(fulfilment: Fulfilment, *, taken_by: Person, key: str, reason: str) -> None:
    """Keep the pieces of a fulfilment that was undone apart, since they had left the house."""
    if fulfilment.posting is None:
        return
    came_back = fulfilment.posting.lines.filter(
        quantity__lt=0, lot__product__isnull=False, item__is_weighed=False
    ).select_related("lot__product__item", "place")
    for line in came_back.order_by("id"):
        # The filter leaves no line without a lot.
        returned_jars.set_aside(
            lot=cast(Lot, line.lot),
            place=line.place,
            pieces=-line.quantity,
            reason=reason,
            recorded_by=taken_by,
            key=keys.part(key, line.pk),
        )


def spoil(
    fulfilment: Fulfilment, lines: Iterable[OrderLine], *, taken_by: Person, key: str, reason: str
) -> None:
    """Book out as spoiled what was weighed out and has come back: it was in the buyer's container.

    Whole drums come back closed, so their honey stays.
    """
    if fulfilment.posting is None:
        return
    drums = {vessel_of(line).pk for line in lines if is_whole_drum(line)}
    came_back = (
        fulfilment.posting.lines.filter(quantity__lt=0, item__is_weighed=True)
        .exclude(place__in=drums)
        .select_related("item", "place", "lot")
        .order_by("id")
    )
    spoiled = [
        line
        for back in came_back
        for line in ledger.move(
            item=back.item,
            lot=back.lot,
            source=back.place,
            target=Place.objects.outside(Place.Kind.SPOILED),
            quantity=-back.quantity,
        )
    ]
    if spoiled:
        ledger.post(
            kind=Posting.Kind.SPOILAGE,
            lines=spoiled,
            recorded_by=taken_by,
            key=keys.part(key, "spoiled"),
            note=reason.strip(),
        )


def update_lines(lines: Iterable[OrderLine], given: Iterable[FulfilmentLine] | None = None) -> None:
    """Save how much of each line is filled, and what that had cost.

    `given` is all that was handed over of them, where the caller knows.
    """
    lines = list(lines)
    if given is None:
        given = FulfilmentLine.objects.not_taken_back().filter(order_line__in=lines)
    costs: dict[int, list[int | None]] = {}
    for row in given:
        cents = None if row.cost_cents is None else row.cost_cents - row.returned_cost_cents
        costs.setdefault(row.order_line_id, []).append(cents)
    for line in lines:
        line_costs = costs.get(line.pk, [])
        known = [cents for cents in line_costs if cents is not None]
        line.cost_cents = sum(known) if line_costs and len(known) == len(line_costs) else None
    save_fields(lines, "filled", "cost_cents")


def _by_lot(taken: Iterable[TakenGoods]) -> dict[Lot | None, int]:
    portions: dict[Lot | None, int] = {}
    for goods in taken:
        portions[goods.lot] = portions.get(goods.lot, 0) + goods.quantity
    return portions


def amounts_given(lines: Iterable[OrderLine]) -> dict[int, int]:
    """Return, by line, the cents of its amount that earlier fulfilments carry.

    What is to be sent again is left to the next ones.
    """
    given: dict[int, int] = {}
    for row in FulfilmentLine.objects.not_taken_back().filter(order_line__in=list(lines)):
        again_cents = share_cents(row.amount_cents, row.sent_again, row.quantity)
        given[row.order_line_id] = given.get(row.order_line_id, 0) + row.amount_cents - again_cents
    return given
