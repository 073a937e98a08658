"""Goods that came back after they were billed, and what bills say of goods handed over.

The credit note is written a layer above, in the same transaction; these acts leave the order as it
is, unless somebody asks for the goods to be sent again.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import cast

from django.db import transaction
from django.db.models import BigIntegerField, Expression, F, IntegerField, Value
from django.db.models.expressions import CombinedExpression
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.orders.models import (
    FulfilmentLine,
    GoodsReturn,
    Order,
    OrderEvent,
    OrderLine,
)
from apiary_sales.orders.rules import returns as rules
from apiary_sales.orders.rules.lines import is_reserved, is_whole_drum, vessel_of
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import fulfilments, orders, reservations
from apiary_sales.orders.services import lines as order_lines
from inventory.bottling.services import returned_jars
from inventory.shared import days, keys, words
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.prepared import Given, PreparedUpdate
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Balance, Item, Lot, Place, Posting
from inventory.stock.services import ledger, places

__all__ = ["note_billed", "record", "send_again", "take_in"]


@transaction.atomic
def record(
    *,
    order: Order,
    goods_back: Sequence[GoodsBack],
    recorded_by: Person,
    key: str,
    reason: str,
    returned_on: date | None = None,
) -> Order:
    """Book goods that came back after they were billed, without a credit note; return the order.

    Raises as `take_in`, `BadValue` without a reason or without goods, and `AlreadyRecorded`.
    """
    order = orders.lock(order)
    refuse_repeat(OrderEvent, keys.part(key, "returned"), made=order)
    problems = Problems()
    if not goods_back:
        problems.add("goods_back", _("Enter for at least one line how much came back."))
    if not reason.strip():
        problems.add("reason", _("Say why the goods come back."))
    problems.raise_any()
    take_in(
        order=order,
        goods_back=goods_back,
        recorded_by=recorded_by,
        key=key,
        reason=reason,
        returned_on=returned_on,
    )
    return order


def take_in(
    *,
    order: Order,
    goods_back: Sequence[GoodsBack],
    recorded_by: Person,
    key: str,
    reason: str,
    returned_on: date | None = None,
) -> list[GoodsReturn]:
    """Book goods of an order that came back; call with the order locked.

    Fit goods are at their place again, with the lot they had. Pieces that are not fit wait at the
    place for returned goods until somebody decides, honey and goods by weight are spoiled. The
    order stays as it is. Raises `BadValue` (or several) at `goods_back.<position>.<name>`.
    """
    problems = Problems()
    asked: dict[int, int] = {}
    for index, back in enumerate(goods_back):
        rules.check(problems, f"goods_back.{index}", back)
        asked[back.goods.pk] = asked.get(back.goods.pk, 0) + back.quantity
        if asked[back.goods.pk] > max(back.quantity, rules.still_out(back.goods)):
            problems.add(
                f"goods_back.{index}.quantity",
                _("More of %(what)s is said to have come back than was handed over.")
                % {"what": back.line.description},
            )
        if returned_on and returned_on < back.goods.fulfilment.filled_on:
            problems.add(
                "returned_on",
                _("These goods were handed over on %(day)s. Choose that day or a later one.")
                % {"day": date_format(back.goods.fulfilment.filled_on)},
            )
    if returned_on and returned_on > timezone.localdate():
        problems.add("returned_on", _("This day is in the future. Choose today or earlier."))
    problems.raise_any()
    ledger.lock_items(order_lines.items_of([back.line for back in goods_back]))
    for index, back in enumerate(goods_back):
        if back.target and back.target.is_vessel:
            _check_vessel(problems, f"goods_back.{index}.place", back)
    problems.raise_any()
    made = [
        _take_in(
            back,
            recorded_by=recorded_by,
            key=keys.part(key, f"back-{index}"),
            reason=reason,
            day=returned_on,
        )
        for index, back in enumerate(goods_back)
    ]
    if made:
        fulfilments.update_lines({back.line for back in goods_back})
        note = "; ".join(_told(each) for each in made)
        orders.note_event(
            order,
            OrderEvent.Kind.RETURNED,
            by=recorded_by,
            key=keys.part(key, "returned"),
            note=note,
        )
    return made


def send_again(
    *, order: Order, goods: Mapping[FulfilmentLine, int], asked_by: Person, key: str, reason: str
) -> None:
    """Let an order be filled again with so much of goods that were credited.

    They are reserved from what is free, as for a new order. Call with the order locked. Raises
    `NotEnoughStock` and its like; `NotAllowedNow` where there is nothing to send again, or the
    order was sold over the counter.
    """
    lines = {line.pk: line for line in orders.lines_of(order)}
    ledger.lock_items(order_lines.items_of(lines.values()))
    if order.channel in Order.AT_ONCE or not goods:
        raise NotAllowedNow(
            _("Nothing of order %(order)s can be sent again. Take a new order.")
            % {"order": order.number}
        )
    wanted: dict[OrderLine, int] = {}
    for row, quantity in goods.items():
        line = lines[row.order_line_id]
        if is_whole_drum(line):
            raise NotAllowedNow(
                _("%(drum)s can't be sent again. Take a new order for another drum.")
                % {"drum": vessel_of(line).name}
            )
        row.sent_again += quantity
        line.filled -= quantity
        wanted[line] = wanted.get(line, 0) + quantity
    FulfilmentLine.objects.bulk_update(list(goods), ["sent_again"])
    picker, promises = reservations.Picker(reservations.shelves()), []
    for line, quantity in wanted.items():
        if is_reserved(line):
            picked = picker.pick(line, None, quantity)
            promises += [(line, reservations.as_stock(there, part)) for there, part in picked]
    reservations.add(promises)
    fulfilments.update_lines(wanted)
    orders.save_status(order, orders.status_by(list(lines.values())))
    orders.note_event(
        order, OrderEvent.Kind.CHANGED, by=asked_by, key=keys.part(key, "again"), note=reason
    )


def note_billed(goods: Mapping[int, int]) -> None:
    """Add to what goods are billed at, by the key of their line: cents before tax, signed."""
    if len(goods) == 1:
        [(key, cents)] = goods.items()
        _BILL_MORE.make(key=key, cents=cents)
        return
    rows = [
        FulfilmentLine(pk=key, billed_cents=_billed(Value(cents))) for key, cents in goods.items()
    ]
    FulfilmentLine.objects.bulk_update(rows, ["billed_cents"])


def _billed(more: Expression) -> CombinedExpression:
    """Return what goods are billed at when so much is added; nothing was billed of most."""
    return Coalesce(F("billed_cents"), 0) + more


_BILL_MORE = PreparedUpdate(
    lambda: FulfilmentLine.objects.filter(pk=Given("key", IntegerField())),
    billed_cents=_billed(Given("cents", BigIntegerField())),
)


def _take_in(
    back: GoodsBack, *, recorded_by: Person, key: str, reason: str, day: date | None
) -> GoodsReturn:
    goods, lot = back.goods, cast(Lot, back.goods.lot)
    item = lot.product.item if lot.product else Item.objects.honey()
    is_spoiled = item.is_weighed and not back.is_fit
    place = Place.objects.outside(Place.Kind.SPOILED) if is_spoiled else cast(Place, back.target)
    posting = ledger.post(
        kind=Posting.Kind.RETURN,
        lines=ledger.move(
            item=item,
            lot=lot,
            source=Place.objects.outside(Place.Kind.CUSTOMER),
            target=place,
            quantity=back.quantity,
        ),
        recorded_by=recorded_by,
        key=key,
        occurred_at=days.past_moment(day),
        note=reason.strip(),
    )
    if not place.is_active:
        # A drum that came back with its honey is in use again.
        places.take_back([place])
    cost_cents = None
    if goods.cost_cents is not None:
        came_back = [goods.returned, back.quantity]
        cost_cents = rules.costs_of_returns(goods.cost_cents, goods.quantity, came_back)[-1]
    made = GoodsReturn.objects.create(
        fulfilment_line=goods,
        quantity=back.quantity,
        place=place,
        is_fit=back.is_fit,
        cost_cents=cost_cents,
        posting=posting,
        returned_on=day or timezone.localdate(),
        recorded_by=recorded_by,
        reason=reason.strip(),
        idempotency_key=key,
    )
    goods.returned += back.quantity
    if back.is_fit:
        goods.returned_cost_cents += cost_cents or 0
    goods.save(update_fields=["returned", "returned_cost_cents"])
    if not back.is_fit and not is_spoiled:
        returned_jars.set_aside(
            lot=lot,
            place=place,
            pieces=back.quantity,
            reason=reason,
            recorded_by=recorded_by,
            key=keys.part(key, "apart"),
            set_aside_on=day,
        )
    return made


def _told(made: GoodsReturn) -> str:
    """Say how much came back, where it is and whether it can be sold, for the order's history."""
    quantity, lot = made.quantity, cast(Lot, made.fulfilment_line.lot)
    values = {
        "quantity": words.weight(quantity) if lot.is_weighed else words.number(quantity),
        "what": made.fulfilment_line.order_line.description,
        "place": made.place.name,
    }
    if made.is_fit:
        return _("%(quantity)s of %(what)s back at %(place)s, fit to sell") % values
    if made.place.kind == Place.Kind.SPOILED:
        return _("%(quantity)s of %(what)s back, not fit to sell") % values
    return _("%(quantity)s of %(what)s back at %(place)s, not fit to sell") % values


def _check_vessel(problems: Problems, parameter: str, back: GoodsBack) -> None:
    vessel = cast(Place, back.target)
    there = Balance.objects.in_vessel(vessel)
    if back.is_fit and there and there.lot != back.goods.lot:
        problems.add(
            parameter,
            _("%(vessel)s has other honey in it. Choose the vessel the honey was put into.")
            % {"vessel": vessel.name},
        )
