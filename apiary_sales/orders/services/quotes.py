"""Quotes: drums and jars offered at a price until a day; accepted, they become an order.

A quote that is not accepted ends in a state of its own: declined by the buyer, withdrawn by us,
replaced by a newer quote, or expired, which nobody has to write down: its last day is past.
"""

from collections.abc import Sequence
from datetime import date
from typing import cast

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer, DeliveryAddress
from apiary_sales.orders.errors import QuoteExpired
from apiary_sales.orders.models import Order, OrderEvent, OrderLine
from apiary_sales.orders.rules import lines as rules
from apiary_sales.orders.rules.lines import LineWanted, parameter_of
from apiary_sales.orders.services import lines as order_lines
from apiary_sales.orders.services import orders, reservations, weights
from inventory.shared import checks, keys
from inventory.shared.errors import HouseError, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.services import ledger

__all__ = [
    "accept",
    "check_open",
    "check_valid",
    "decline",
    "newest",
    "quote",
    "withdraw",
]


@transaction.atomic
def quote(
    *,
    customer: Customer,
    lines: Sequence[LineWanted],
    valid_until: date,
    created_by: Person,
    key: str,
    channel: str = Order.Channel.BULK,
    wanted_on: date | None = None,
    customer_reference: str = "",
    ship_to: DeliveryAddress | None = None,
    note: str = "",
    supersedes: Order | None = None,
    expected_total_cents: int | None = None,
    moisture_is_right: bool = False,
) -> Order:
    """Offer goods at a price until a day; nothing is reserved. Return the quote.

    Drums must be there and free today, and are offered with all that is in them; jars need not be
    there yet. An open quote that it `supersedes` can't be accepted any more.
    `moisture_is_right` confirms honey above the house's own limit of moisture, and
    `expected_total_cents` is the total before tax that was shown.
    Raises `BadValue`, `FiguresChanged`, `NotEnoughHoney`, `StockReserved`, `LotOnHold`,
    `NotAllowedNow`, `AlreadyRecorded`.
    """
    before = orders.lock(supersedes) if supersedes else None
    refuse_repeat(Order, key)
    problems, today = Problems(), timezone.localdate()
    orders.check_customer(problems, customer)
    if channel not in Order.Channel.values:
        problems.add("channel", _("Choose how it is sold: shop, delivery or drums."))
    if valid_until < today:
        problems.add(
            "valid_until",
            _("The last day the quote is valid is in the past. Choose today or a later day."),
        )
    orders.check_not_far(problems, "valid_until", valid_until)
    orders.check_wanted_on(problems, wanted_on, today)
    orders.check_ship_to(problems, customer, ship_to)
    rules.check(problems, lines)
    order_lines.check_private_labels(problems, customer, lines)
    order_lines.check_moisture(problems, lines, moisture_is_right=moisture_is_right)
    problems.raise_any()
    if before is not None:
        check_open(before)
    checks.check_total(sum(line.amount_cents for line in lines), expected_total_cents)
    order = orders.make(
        customer=customer,
        channel=channel,
        status=Order.Status.QUOTED,
        placed_on=today,
        valid_until=valid_until,
        wanted_on=wanted_on,
        customer_reference=customer_reference.strip(),
        ship_to=ship_to,
        note=note.strip(),
        supersedes=before,
        created_by=created_by,
        idempotency_key=key,
    )
    for index, line in enumerate(order_lines.make(order, lines)):
        if line.kind == OrderLine.Kind.HONEY:
            try:
                reservations.find_honey(line, parameter_of(index, "drum"))
            except HouseError as error:
                problems.add_error(error)
    problems.raise_any()
    if before is not None:
        orders.save_status(before, Order.Status.SUPERSEDED)
        orders.note_event(
            before,
            OrderEvent.Kind.SUPERSEDED,
            by=created_by,
            key=keys.part(key, "superseded"),
            note=order.number,
        )
    return order


@transaction.atomic
def accept(
    *,
    order: Order,
    accepted_by: Person,
    key: str,
    on: date | None = None,
    expected_total_cents: int | None = None,
    over_limit: bool = False,
    moisture_is_right: bool = False,
) -> Order:
    """Turn a quote into an order under the same number, and reserve its goods.

    `expected_total_cents` is the total before tax that was shown with the weights of now; the total
    of the quote unless it is given.
    `over_limit` says that somebody takes it though it goes beyond the buyer's credit limit,
    `moisture_is_right` that its honey may be above the house's own limit of moisture.
    A drum that was only weighed again since goes at its weight of now and the price quoted; the
    credit limit is asked with what that comes to.
    Raises `QuoteExpired` past its last day, `FiguresChanged`, `OverCreditLimit`, `NotEnoughHoney`,
    `StockReserved` or `NotAllowedNow` naming each drum that is gone or changed since, and
    `AlreadyRecorded`.
    """
    order = orders.lock(order)
    refuse_repeat(OrderEvent, key, made=order)
    check_open(order)
    check_valid(order, on or timezone.localdate())
    lines = orders.lines_of(order)
    problems = Problems()
    order_lines.check_private_labels(problems, order.customer, lines)
    ledger.lock_items(order_lines.items_of(lines))
    order_lines.check_moisture(problems, lines, moisture_is_right=moisture_is_right)
    problems.raise_any()
    quoted_cents = sum(line.amount_cents for line in lines)
    weights.follow_scale(lines)
    reservations.reserve(lines)
    total_cents = sum(line.amount_cents for line in lines)
    checks.check_total(
        total_cents, quoted_cents if expected_total_cents is None else expected_total_cents
    )
    if not over_limit:
        # The order counts as a quote until its status is saved; a quote is always somebody's.
        before = Order.objects.credit_of(cast(Customer, order.customer))
        orders.check_credit(before, total_cents)
    orders.save_status(order, Order.Status.OPEN)
    orders.note_event(order, OrderEvent.Kind.ACCEPTED, by=accepted_by, key=key)
    return order


@transaction.atomic
def decline(*, order: Order, declined_by: Person, key: str, reason: str) -> Order:
    """Write down that the buyer does not take a quote, and why.

    Raises `NotAllowedNow` when it is no open quote, `BadValue` without a reason, `AlreadyRecorded`.
    """
    orders.check_reason(reason, _("Say why the buyer declined."))
    return _end(order, OrderEvent.Kind.DECLINED, by=declined_by, key=key, reason=reason)


@transaction.atomic
def withdraw(*, order: Order, withdrawn_by: Person, key: str, reason: str) -> Order:
    """Take back a quote that the buyer has not accepted; raises as `decline`."""
    orders.check_reason(reason, _("Say why it is withdrawn."))
    return _end(order, OrderEvent.Kind.WITHDRAWN, by=withdrawn_by, key=key, reason=reason)


def _end(order: Order, kind: str, *, by: Person, key: str, reason: str) -> Order:
    """End a quote; its status has the name of the event."""
    order = orders.lock(order)
    refuse_repeat(OrderEvent, key, made=order)
    check_open(order)
    orders.save_status(order, kind)
    orders.note_event(order, kind, by=by, key=key, note=reason)
    return order


def check_open(order: Order) -> None:
    """Refuse what is only done with an open quote: raises `NotAllowedNow`."""
    if order.status == Order.Status.SUPERSEDED:
        raise NotAllowedNow(
            _("Quote %(order)s was replaced by a newer quote, %(newest)s. Open that one.")
            % {"order": order.number, "newest": newest(order).number}
        )
    if order.status != Order.Status.QUOTED:
        raise NotAllowedNow(
            _("%(order)s is no longer an open quote. Its state is now “%(status)s”.")
            % {"order": order.number, "status": order.get_status_display()}
        )


def check_valid(order: Order, on: date) -> None:
    """Refuse a quote past its last day: raises `QuoteExpired`."""
    if order.valid_until and on > order.valid_until:
        raise QuoteExpired(
            _("Quote %(order)s was valid until %(day)s. Make a new quote at today's price.")
            % {"order": order.number, "day": date_format(order.valid_until)},
            order=order.number,
        )


def newest(order: Order) -> Order:
    """Return the quote that was made last in the place of this one, or itself."""
    while later := Order.objects.filter(supersedes=order).first():
        order = later
    return order
