"""Orders: taken, filled, cancelled and taken back; and sales at the stand."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any

from django.db import IntegrityError, models, transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer, DeliveryAddress
from apiary_sales.orders.errors import OverCreditLimit
from apiary_sales.orders.models import (
    Fulfilment,
    FulfilmentLine,
    Order,
    OrderEvent,
    OrderLine,
    Reservation,
)
from apiary_sales.orders.rules import changes, service_units
from apiary_sales.orders.rules import lines as rules
from apiary_sales.orders.rules.credit import Credit
from apiary_sales.orders.rules.lines import LineWanted, vessel_of
from apiary_sales.orders.rules.weighing import Weighed
from apiary_sales.orders.services import (
    followed_stock,
    fulfilments,
    pickups,
    reservations,
    taking,
    weights,
)
from apiary_sales.orders.services import lines as order_lines
from apiary_sales.orders.services.fulfilments import TakenGoods
from inventory.shared import acts, checks, keys, series, words
from inventory.shared.errors import (
    BadValue,
    CannotReverse,
    HouseError,
    NotAllowedNow,
    NotEnoughHoney,
    Problems,
)
from inventory.shared.people import Person
from inventory.shared.prepared import Given, PreparedQuery
from inventory.shared.services import repeats
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Balance, Item, Lot, Place, Posting
from inventory.stock.services import honey, ledger, numbers, places

__all__ = [
    "cancel",
    "fulfil",
    "repick",
    "sell_now",
    "take",
    "take_back",
]

# A date further ahead is treated as a typing error in the year.
DAYS_AHEAD_MAX = timedelta(days=366)


@acts.act
def take(
    *,
    customer: Customer,
    channel: str,
    lines: Sequence[LineWanted],
    created_by: Person,
    key: str,
    placed_on: date | None = None,
    wanted_on: date | None = None,
    customer_reference: str = "",
    ship_to: DeliveryAddress | None = None,
    note: str = "",
    expected_total_cents: int | None = None,
    over_limit: bool = False,
    moisture_is_right: bool = False,
) -> Order:
    """Take an order and reserve its goods; return it, open.

    Jars are reserved oldest lot first over shelves, stand and van, lots on hold left out; a drum
    is reserved whole; honey from a tank or tote is drawn when the order is filled. `over_limit`
    says that somebody takes it though it goes beyond the customer's credit limit,
    `moisture_is_right` that honey in bulk may be above the house's own limit of moisture;
    `expected_total_cents` is the total before tax that was shown. Without `ship_to` the goods go
    to the customer's own address.
    Raises `BadValue`, `FiguresChanged`, `OverCreditLimit`, `NotEnoughStock`, `StockReserved`,
    `LotOnHold`, `AlreadyRecorded`.
    """
    placed_on = placed_on or timezone.localdate()
    problems = Problems()
    check_customer(problems, customer)
    if channel not in Order.Channel.values:
        problems.add("channel", _("Choose how it is sold: shop, delivery or drums."))
    check_wanted_on(problems, wanted_on, placed_on)
    check_ship_to(problems, customer, ship_to)
    rules.check(problems, lines)
    order_lines.check_private_labels(problems, customer, lines)
    problems.raise_any()
    ledger.lock_items(order_lines.items_of(lines))
    refuse_repeat(Order, key)
    order_lines.check_moisture(problems, lines, moisture_is_right=moisture_is_right)
    problems.raise_any()
    checks.check_total(sum(line.amount_cents for line in lines), expected_total_cents)
    has_limit = customer.credit_limit_cents is not None and not over_limit
    credit_before = Order.objects.credit_of(customer) if has_limit else None
    order = make(
        customer=customer,
        channel=channel,
        status=Order.Status.OPEN,
        placed_on=placed_on,
        wanted_on=wanted_on,
        customer_reference=customer_reference.strip(),
        ship_to=ship_to,
        note=note.strip(),
        created_by=created_by,
        idempotency_key=key,
    )
    reservations.reserve(order_lines.make(order, lines), parameter="lines")
    # Report missing stock before the credit limit: a user can override only the limit.
    if credit_before is not None:
        check_credit(credit_before, sum(line.amount_cents for line in lines))
    return order


@acts.act
def fulfil(
    *,
    order: Order,
    filled_by: Person,
    key: str,
    quantities: dict[int, int] | None = None,
    filled_on: date | None = None,
    weighed: Mapping[int, Weighed] | None = None,
    place: Place | None = None,
    is_brought: bool = False,
) -> Fulfilment:
    """Hand over goods of an order: all that is left, or `quantities` by the key of their line.

    `weighed` has the weights found when goods were drawn or weighed out, by the key of their line,
    and goes before `quantities`. A weight close to what is left (see `weighing.is_all_of`) takes
    its place: the line is then filled, and comes to what that weight costs.

    The reservation is released and the sale posted in one posting. A drum leaves whole; with it go
    its deposit or price, and where there is one the drum is taken out of use until it comes back.
    With a `place` the buyer fetches pieces there: see `pickups.take`.
    Raises `NotAllowedNow`, `AlreadyRecorded`, and `BadValue`, `LotOnHold`, `NotEnoughStock` or
    `NotEnoughHoney` at `quantities.<key>` or `weighed.<key>`.
    """
    order = lock(order)
    refuse_repeat(Fulfilment, key)
    if order.status not in Order.OPEN_STATUSES:
        raise NotAllowedNow(
            _("Order %(order)s is %(status)s. No goods can be handed over for it.")
            % {"order": order.number, "status": order.get_status_display()}
        )
    if filled_on and filled_on > timezone.localdate():
        raise BadValue(
            _("The day of the handover is in the future. Choose today or an earlier day."),
            parameter="filled_on",
        )
    lines = lines_of(order)
    weighed = weighed or {}
    if weighed:
        if quantities is None:
            quantities = {line.pk: line.to_fill for line in lines if line.to_fill}
        quantities = quantities | weights.settle(lines, weighed)
    wanted = _wanted(lines, quantities)
    ledger.lock_items(order_lines.items_of(wanted))
    if place is None:
        taken = _take_goods(wanted)
    else:
        taken = pickups.take(wanted, place, is_brought=is_brought)
    _check_not_before(filled_on, taken)
    posting = fulfilments.post_sale(
        taken, recorded_by=filled_by, key=key, day=filled_on, note=order.number
    )
    for goods in taken:
        if goods.reservation:
            reservations.use(goods.reservation, goods.quantity)
    fulfilment = fulfilments.record(
        order,
        wanted=wanted,
        taken=taken,
        posting=posting,
        filled_by=filled_by,
        filled_on=filled_on,
        key=key,
        weighed={line: weighed[line.pk] for line in wanted if line.pk in weighed},
    )
    # What was weighed out is less than what was reserved, and all of it.
    reservations.release(line for line in wanted if line.is_by_weight and not line.to_fill)
    if place is not None:
        pickups.release_beyond(wanted)
    followed_stock.settle_gave_way(list(wanted))
    places.send_away(_drums_that_leave(lines, wanted))
    save_status(order, status_by(lines))
    return fulfilment


@transaction.atomic
def repick(*, order: Order, picked_by: Person, key: str) -> Order:
    """Reserve other jars in place of those whose lot was put on hold since; return the order.

    Raises `NotAllowedNow` when nothing reserved for it is on hold, `NotEnoughStock` when too few
    others are free, `AlreadyRecorded`.
    """
    order = lock(order)
    refuse_repeat(OrderEvent, key, made=order)
    lines = lines_of(order)
    ledger.lock_items(order_lines.items_of(lines))
    lots = reservations.repick(lines)
    if not lots:
        raise NotAllowedNow(
            _("Order %(order)s has no reserved goods on hold.") % {"order": order.number}
        )
    note = ", ".join(lot.code for lot in lots)
    note_event(order, OrderEvent.Kind.REPICKED, by=picked_by, key=key, note=note)
    return order


@acts.act
def sell_now(
    *,
    customer: Customer | None,
    lines: Sequence[LineWanted],
    place: Place,
    created_by: Person,
    key: str,
    sold_on: date | None = None,
    sold_at: datetime | None = None,
    has_happened: bool = False,
) -> Fulfilment:
    """Sell over the counter from what is free at one place, oldest lot first.

    Honey is drawn by weight from the vessel its line names. A sale that `has_happened` takes what
    is reserved, on hold or not ready too, and what is not there at all comes from *to be settled*;
    goods leave the books at `sold_at`, where that is known.
    Raises `BadValue`, `AlreadyRecorded`, and unless it has happened `NotEnoughStock`,
    `NotEnoughHoney`, `StockReserved`, `LotOnHold`.
    """
    problems = Problems()
    rules.check(problems, lines)
    if not has_happened:
        order_lines.check_private_labels(problems, customer, lines)
    for index, line in enumerate(lines):
        if line.drum and rules.is_whole_drum(line):
            problems.add(
                rules.parameter_of(index, "kind"),
                _("A whole drum is not sold at the stand. Take an order for it."),
            )
    if place.kind not in Place.STORES:
        problems.add(
            "place",
            _("%(place)s is not a shelf, stand or van. Choose another place.")
            % {"place": place.name},
        )
    problems.raise_any()
    ledger.lock_items(order_lines.items_of(lines))
    refuse_repeat(Fulfilment, key)
    order = make(
        customer=customer,
        channel=Order.Channel.STAND,
        status=Order.Status.FILLED,
        placed_on=sold_on or timezone.localdate(),
        created_by=created_by,
        idempotency_key=key,
    )
    made = order_lines.make(order, lines)
    happened = taking.take_happened(made, place, sold_on) if has_happened else None
    taken = _take_free(made, place) if happened is None else happened
    posting = fulfilments.post_sale(
        taken,
        recorded_by=created_by,
        key=key,
        day=sold_on,
        sold_at=sold_at if has_happened else None,
        note=order.number,
        has_happened=has_happened,
        place_is_known=True,
    )
    return fulfilments.record(
        order,
        wanted={line: line.quantity for line in made},
        taken=taken,
        posting=posting,
        filled_by=created_by,
        filled_on=sold_on,
        key=key,
        weighed={
            line: asked.weighed for line, asked in zip(made, lines, strict=True) if asked.weighed
        },
        are_new=True,
    )


@transaction.atomic
def cancel(*, order: Order, cancelled_by: Person, key: str, reason: str) -> Order:
    """Cancel what is not filled yet and free its reservation.

    A part-filled order counts as filled from then on: what was handed over stays sold, and its
    lines are of no more than that.
    Raises `NotAllowedNow` when everything is filled or it is a quote, `BadValue` without a reason,
    `AlreadyRecorded`.
    """
    order = lock(order)
    refuse_repeat(OrderEvent, key, made=order)
    if order.is_quote:
        raise NotAllowedNow(
            _("%(order)s is a quote and not an order yet. Withdraw or decline it instead.")
            % {"order": order.number}
        )
    if order.status in (Order.Status.FILLED, Order.Status.CANCELLED):
        raise NotAllowedNow(
            _("Order %(order)s is already %(status)s and can't be cancelled.")
            % {"order": order.number, "status": order.get_status_display()}
        )
    check_reason(reason, _("Say why it is cancelled."))
    lines = lines_of(order)
    ledger.lock_items(order_lines.items_of(lines))
    reservations.release(lines)
    OrderLine.objects.filter(order=order).update(gave_way=0)
    was_begun = order.status == Order.Status.PART_FILLED
    if was_begun:
        told = _reduce({line: line.filled for line in lines_of(order)})
        _note_changes(order, told, by=cancelled_by, key=keys.part(key, "rest"))
    save_status(order, Order.Status.FILLED if was_begun else Order.Status.CANCELLED)
    note_event(order, OrderEvent.Kind.CANCELLED, by=cancelled_by, key=key, note=reason)
    return order


def _reduce(quantities: Mapping[OrderLine, int]) -> list[str]:
    """Let lines be of less, at their prices, and return how that is told.

    A line of which nothing was handed over and nothing is left is taken off.
    """
    given, told = fulfilments.amounts_given(quantities), []
    for line, quantity in quantities.items():
        if quantity == line.quantity:
            continue
        told.append(changes.told_of_quantity(line, line.quantity, quantity))
        if not quantity and not line.fulfilment_lines.exists():
            line.delete()
            continue
        figures = changes.figures(
            line, quantity, line.unit_price, line.discount_cents, given.get(line.pk, 0)
        )
        order_lines.take_figures(line, quantity, figures)
    return told


def _note_changes(order: Order, told: Iterable[str], *, by: Person, key: str) -> None:
    for number, sentence in enumerate(told):
        part = keys.part(key, str(number))
        note_event(order, OrderEvent.Kind.CHANGED, by=by, key=part, note=sentence)


@transaction.atomic
def take_back(
    *,
    fulfilment: Fulfilment,
    taken_by: Person,
    key: str,
    reason: str,
    is_credited: bool = False,
    had_left: bool = False,
    spoils_weighed: bool = False,
) -> Posting | None:
    """Undo a fulfilment: the goods return to where they were, and the order to what it was.

    The order is to fill again and its goods are reserved again, unless the rest of it was
    cancelled or it was a sale at the stand. Returns the reversing posting, or None when the
    fulfilment held only charges. `is_credited` says that a credit note takes the goods off the
    bill; `had_left`, that the goods were out of the house: their pieces are kept apart until
    somebody decides, what was weighed out is spoiled, and they are taken off the order, whose rest
    stays as it is. `spoils_weighed` says only that what was weighed out had left, into the buyer's
    container.
    Raises `CannotReverse`, `NotAllowedNow`, `BadValue`, `AlreadyRecorded`.
    """
    order = lock(fulfilment.order)
    fulfilment = Fulfilment.objects.select_related("posting").get(pk=fulfilment.pk)
    refuse_repeat(OrderEvent, key, made=fulfilment.posting)
    if fulfilment.is_taken_back:
        raise CannotReverse(_("These goods were taken back already."))
    if not is_credited and is_billed(fulfilment):
        raise NotAllowedNow(
            _(
                "These goods are on an invoice. Issue a credit note for it, and say what came "
                "back; or, where they are credited already, book them as goods back."
            )
        )
    check_reason(reason, _("Say why the goods are taken back."))
    lines = lines_of(order)
    ledger.lock_items(order_lines.items_of(lines))
    filled = {line.pk: line for line in lines}
    rows = list(fulfilment.lines.select_related("lot"))
    if any(row.returned or row.sent_again for row in rows):
        raise CannotReverse(
            _("Some of these goods came back or are sent again. Book the rest as goods back.")
        )
    for row in rows:
        line = filled[row.order_line_id]
        line.filled -= row.quantity
        if line.kind == OrderLine.Kind.HONEY:
            _check_may_return(line, row.lot)
    reversal = None
    if fulfilment.posting:
        reversal = ledger.reverse(
            posting=fulfilment.posting,
            recorded_by=taken_by,
            key=key,
            note=reason.strip(),
            # The goods were out until now.
            occurred_at=timezone.now(),
        )
    fulfilment.is_taken_back = True
    fulfilment.save(update_fields=["is_taken_back"])
    fulfilments.update_lines(lines)
    goods = [filled[row.order_line_id] for row in rows]
    places.take_back(vessel_of(line) for line in goods if rules.is_whole_drum(line))
    if had_left or spoils_weighed:
        fulfilments.spoil(fulfilment, goods, taken_by=taken_by, key=key, reason=reason)
    if had_left:
        fulfilments.keep_apart(fulfilment, taken_by=taken_by, key=key, reason=reason)
        if not _was_cancelled(order):
            off = Counter[int]()
            for row in rows:
                off[row.order_line_id] += row.quantity
            told = _reduce(
                {filled[line]: filled[line].quantity - less for line, less in off.items()}
            )
            if not any(line.quantity for line in lines):
                cancelled = keys.part(key, "cancelled")
                note_event(
                    order, OrderEvent.Kind.CANCELLED, by=taken_by, key=cancelled, note=reason
                )
            _note_changes(order, told, by=taken_by, key=keys.part(key, "off"))
    if order.channel in Order.AT_ONCE or _was_cancelled(order):
        any_left = any(line.filled for line in lines)
        save_status(order, Order.Status.FILLED if any_left else Order.Status.CANCELLED)
    else:
        if not had_left:
            _reserve_again(fulfilment, rows, filled)
        save_status(order, status_by(lines))
    note_event(order, OrderEvent.Kind.TAKEN_BACK, by=taken_by, key=key, note=reason)
    return reversal


def is_billed(fulfilment: Fulfilment) -> bool:
    """Tell whether goods of a fulfilment were billed, be it credited since."""
    return fulfilment.lines.filter(billed_cents__isnull=False).exists()


def lock(order: Order, *beside: str) -> Order:
    """Lock the order's row until the transaction ends, and return it as it is now.

    What it points at is read with it where it is named.
    """
    found = _locking(beside).first(key=order.pk)
    if found is None:
        raise Order.DoesNotExist
    return found


@cache
def _locking(beside: tuple[str, ...]) -> PreparedQuery[Order]:
    rows = Order.objects.filter(pk=Given("key", models.IntegerField()))
    rows = rows.select_related(*beside) if beside else rows
    return PreparedQuery(lambda: rows.select_for_update(of=("self",), no_key=True))


def make(**fields: Any) -> Order:
    """Write a new order under the next number of its year; raise `AlreadyRecorded` for a repeat."""
    year = fields["placed_on"].year
    last = numbers.next_number(f"order-{year}")
    number = f"{series.ORDERS}{year % 100:02d}-{last:04d}"
    try:
        return Order.objects.create(number=number, **fields)
    except IntegrityError as error:
        # The same form was saved by a parallel request. Any other error is raised again.
        if repeat := repeats.rival(error, Order, fields["idempotency_key"]):
            raise repeat from error
        raise


def note_event(order: Order, kind: str, *, by: Person, key: str, note: str = "") -> OrderEvent:
    return OrderEvent.objects.create(
        order=order, kind=kind, recorded_by=by, idempotency_key=key, note=note.strip()[:300]
    )


def check_customer(problems: Problems, customer: Customer | None) -> None:
    if customer is None:
        problems.add("customer", _("Choose the customer."))
    elif not customer.is_active:
        problems.add(
            "customer",
            _("%(customer)s is marked as inactive. Make this customer active first.")
            % {"customer": customer.name},
        )


def check_not_far(problems: Problems, parameter: str, day: date) -> None:
    if day > timezone.localdate() + DAYS_AHEAD_MAX:
        problems.add(
            parameter,
            _("%(day)s is more than a year away. Check the date.") % {"day": date_format(day)},
        )


def check_wanted_on(problems: Problems, wanted_on: date | None, placed_on: date) -> None:
    if wanted_on and wanted_on < placed_on:
        problems.add(
            "wanted_on",
            _("The day it is wanted is before the day of the order. Choose a later day."),
        )
    elif wanted_on:
        check_not_far(problems, "wanted_on", wanted_on)


def check_ship_to(
    problems: Problems, customer: Customer | None, ship_to: DeliveryAddress | None
) -> None:
    """Refuse an address of somebody else, or one that is off the list."""
    if ship_to is None:
        return
    if ship_to.customer != customer:
        problems.add("ship_to", _("This is not an address of the customer. Choose another."))
    elif not ship_to.is_active:
        problems.add(
            "ship_to", _("This address is no longer on the list of the customer. Choose another.")
        )


def check_credit(before: Credit, asked_cents: int) -> None:
    """Raise `OverCreditLimit` when the customer would owe more than agreed with this much more."""
    if warning := before.warning(asked_cents):
        raise OverCreditLimit(warning, parameter="over_limit")


def check_reason(reason: str, message: str) -> None:
    if not reason.strip():
        raise BadValue(message, parameter="reason")


def lines_of(order: Order) -> list[OrderLine]:
    return list(order.lines.select_related("product__item", "drum", "lot", "service"))


def _wanted(lines: list[OrderLine], quantities: dict[int, int] | None) -> dict[OrderLine, int]:
    """Return how much of which line to hand over; drum charges follow the drums that leave."""
    if quantities is None:
        return {line: line.to_fill for line in lines if line.to_fill}
    problems, wanted = Problems(), {}
    known = {line.pk: line for line in lines}
    for pk, quantity in quantities.items():
        if pk not in known:
            problems.add(
                _quantity_of(pk), _("That line is not on this order. Open the order again.")
            )
        elif quantity < 0 or quantity > known[pk].to_fill:
            problems.add(_quantity_of(pk), _too_many(known[pk], quantity))
        elif quantity and rules.is_whole_drum(known[pk]) and quantity != known[pk].to_fill:
            problems.add(
                _quantity_of(pk),
                _("%(drum)s can only be handed over whole. Enter the whole drum, or 0.")
                % {"drum": vessel_of(known[pk]).name},
            )
        elif quantity:
            wanted[known[pk]] = quantity
    drums = [vessel_of(line) for line in wanted if rules.is_whole_drum(line)]
    for line in lines:
        if line.kind in rules.DRUM_CHARGES and line.pk not in quantities and line.to_fill:
            follows = drums.count(line.drum) if line.drum else len(drums)
            if follows:
                wanted[line] = min(line.to_fill, follows)
    if not problems and not wanted:
        problems.add("quantities", _("Enter how much is handed over for at least one line."))
    problems.raise_any()
    return wanted


def _quantity_of(line: int) -> str:
    return f"quantities.{line}"


def _too_many(line: OrderLine, quantity: int) -> str:
    if quantity < 0:
        return _("Enter 0 or more.")
    figures = (quantity, line.to_fill)
    if line.is_by_weight:
        asked, left = words.weights_apart(*figures)
    elif line.kind == OrderLine.Kind.SERVICE:
        asked, left = map(service_units.in_words, figures)
    else:
        asked, left = map(words.pieces, figures)
    return _(
        "Too much of %(what)s. Entered: %(asked)s. Left to hand over: %(left)s. Enter no "
        "more than that."
    ) % {
        "what": line.description,
        "asked": asked,
        "left": left,
    }


def _take_goods(wanted: dict[OrderLine, int]) -> list[TakenGoods]:
    """Return where the goods are taken from: what is reserved, or a tank for honey by weight."""
    promised: dict[int, list[Reservation]] = {}
    for reservation in reservations.of(wanted):
        promised.setdefault(reservation.line_id, []).append(reservation)
    problems, taken = Problems(), []
    picker = reservations.Picker(reservations.shelves())
    for line, quantity in wanted.items():
        name = _quantity_of(line.pk)
        try:
            if rules.is_reserved(line):
                reserved = _take_reserved(line, quantity, promised.get(line.pk, []), name)
                beyond = quantity - sum(goods.quantity for goods in reserved)
                if beyond and line.kind in rules.OF_PRODUCTS:
                    # More was weighed out than was reserved, or what was reserved is gone.
                    reserved += _picked(line, picker.pick(line, name, beyond))
                elif beyond:
                    raise NotEnoughHoney(
                        _(
                            "%(vessel)s no longer has the honey that was reserved for this order. "
                            "Missing: %(missing)s. Cancel the order and quote another drum."
                        )
                        % {"vessel": vessel_of(line).name, "missing": words.weight(beyond)},
                        parameter=name,
                    )
                taken += reserved
            elif line.kind == OrderLine.Kind.HONEY:
                taken.append(_drawn(line, quantity, quantity_name=name, vessel_name=name))
        except HouseError as error:
            problems.add_error(error)
    problems.raise_any()
    return taken


def _check_not_before(filled_on: date | None, taken: list[TakenGoods]) -> None:
    """Refuse a day on which the goods were not made yet."""
    youngest = max((goods.lot for goods in taken if goods.lot), key=_made_on, default=None)
    if filled_on and youngest and filled_on < youngest.made_on:
        raise BadValue(
            _(
                "Lot %(lot)s was made on %(day)s, so it can't be handed over before that "
                "day. Choose a later day, or another lot."
            )
            % {"lot": youngest.code, "day": date_format(youngest.made_on)},
            parameter="filled_on",
        )


def _made_on(lot: Lot) -> date:
    return lot.made_on


def _take_reserved(
    line: OrderLine, quantity: int, promised: list[Reservation], name: str
) -> list[TakenGoods]:
    taken = []
    for reservation in promised:
        part = min(quantity, reservation.quantity)
        if part == 0:
            break
        balance = reservation.balance
        reservations.check_not_on_hold(balance.lot, name)
        taken.append(TakenGoods(line, balance.item, balance.place, balance.lot, part, reservation))
        quantity -= part
    return taken


def _take_free(lines: list[OrderLine], place: Place) -> list[TakenGoods]:
    problems, picker, taken = Problems(), reservations.Picker([place], at=place), []
    for index, line in enumerate(lines):
        name = rules.parameter_of(index, "quantity")
        try:
            if line.kind in rules.OF_PRODUCTS:
                taken += _picked(line, picker.pick(line, name))
            elif line.kind == OrderLine.Kind.HONEY:
                vessel_name = rules.parameter_of(index, "drum")
                taken.append(
                    _drawn(line, line.quantity, quantity_name=name, vessel_name=vessel_name)
                )
        except HouseError as error:
            problems.add_error(error)
    problems.raise_any()
    return taken


def _picked(line: OrderLine, picked: Sequence[tuple[Balance, int]]) -> list[TakenGoods]:
    return [
        TakenGoods(line, balance.item, balance.place, balance.lot, part) for balance, part in picked
    ]


def _drawn(line: OrderLine, grams: int, *, quantity_name: str, vessel_name: str) -> TakenGoods:
    """Return the honey that is drawn from the vessel of a line, when it is free to sell."""
    vessel = vessel_of(line)
    portion = honey.take(
        source=vessel, grams=grams, parameter=quantity_name, source_parameter=vessel_name
    )
    reservations.check_not_on_hold(portion.lot, vessel_name)
    reservations.check_is_ours(portion.lot, vessel_name)
    return TakenGoods(line, Item.objects.honey(), vessel, portion.lot, grams)


def _drums_that_leave(lines: list[OrderLine], wanted: dict[OrderLine, int]) -> list[Place]:
    """Return the drums handed over now that go out of the house with their honey."""
    charged = {line.drum for line in lines if line.kind in rules.DRUM_CHARGES}
    return [
        vessel_of(line)
        for line in wanted
        if rules.is_whole_drum(line) and (line.drum in charged or None in charged)
    ]


def _check_may_return(line: OrderLine, lot: Lot | None) -> None:
    vessel = vessel_of(line)
    there = Balance.objects.in_vessel(vessel)
    if there and (rules.is_whole_drum(line) or there.lot != lot):
        raise CannotReverse(
            _(
                "%(vessel)s now has other honey in it. Empty it first, or receive the "
                "returned honey into another vessel."
            )
            % {"vessel": vessel.name}
        )


def _reserve_again(
    fulfilment: Fulfilment, rows: list[FulfilmentLine], lines: dict[int, OrderLine]
) -> None:
    """Reserve returned goods again for their order lines, at the place they returned to."""
    if fulfilment.posting is None:
        return
    came_back = {
        posted: -posted.quantity
        for posted in ledger.effective_lines(fulfilment.posting)
        if posted.place.is_physical
    }
    promises = []
    for row in rows:
        line, wanted = lines[row.order_line_id], row.quantity
        if not rules.is_reserved(line):
            continue
        [item] = order_lines.items_of([line])
        for posted, there in came_back.items():
            part = min(wanted, there)
            if part and (posted.item, posted.lot) == (item, row.lot):
                came_back[posted] -= part
                wanted -= part
                promises.append((line, ledger.ReservedStock(item, posted.place, row.lot, part)))
    reservations.add(promises)


def _was_cancelled(order: Order) -> bool:
    return order.events.filter(kind=OrderEvent.Kind.CANCELLED).exists()


def status_by(lines: list[OrderLine]) -> str:
    if all(line.to_fill == 0 for line in lines):
        return Order.Status.FILLED
    any_filled = any(line.filled for line in lines)
    return Order.Status.PART_FILLED if any_filled else Order.Status.OPEN


def save_status(order: Order, status: str) -> None:
    order.status = status
    order.save(update_fields=["status"])
