"""Quotes: drums and jars offered at a price until a day; accepted, they become an order."""

from collections.abc import Sequence
from datetime import date
from typing import cast

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.orders.errors import QuoteExpired
from apiary_sales.orders.models import Order, OrderEvent, OrderLine
from apiary_sales.orders.rules import lines as rules
from apiary_sales.orders.rules.lines import LineWanted, parameter_of
from apiary_sales.orders.services import lines as order_lines
from apiary_sales.orders.services import orders, reservations, weights
from inventory.shared.errors import HouseError, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.services import ledger

__all__ = ["accept", "quote"]


@transaction.atomic
def quote(
    *,
    customer: Customer,
    lines: Sequence[LineWanted],
    valid_until: date,
    created_by: Person,
    key: str,
    note: str = "",
    moisture_is_right: bool = False,
) -> Order:
    """Offer goods at a price until a day; nothing is reserved. Return the quote.

    Drums must be there and free today, and are offered with all that is in them.
    `moisture_is_right` confirms honey above the house's own limit of moisture.
    Raises `BadValue`, `NotEnoughHoney`, `StockReserved`, `LotOnHold`, `AlreadyRecorded`.
    """
    problems = Problems()
    orders.check_customer(problems, customer)
    if valid_until < timezone.localdate():
        problems.add(
            "valid_until",
            _("The last day the quote is valid is in the past. Choose today or a later day."),
        )
    orders.check_not_far(problems, "valid_until", valid_until)
    rules.check(problems, lines)
    order_lines.check_private_labels(problems, customer, lines)
    order_lines.check_moisture(problems, lines, moisture_is_right=moisture_is_right)
    problems.raise_any()
    refuse_repeat(Order, key)
    order = orders.make(
        customer=customer,
        channel=Order.Channel.BULK,
        status=Order.Status.QUOTED,
        placed_on=timezone.localdate(),
        valid_until=valid_until,
        note=note.strip(),
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
    return order


@transaction.atomic
def accept(
    *,
    order: Order,
    accepted_by: Person,
    key: str,
    on: date | None = None,
    over_limit: bool = False,
    moisture_is_right: bool = False,
) -> Order:
    """Turn a quote into an order under the same number, and reserve its goods.

    `over_limit` says that somebody takes it though it goes beyond the buyer's credit limit,
    `moisture_is_right` that its honey may be above the house's own limit of moisture.
    A drum that was weighed again since is of what it weighs now, at the price quoted.
    Raises `QuoteExpired` past its last day, `OverCreditLimit`, `NotEnoughHoney`, `StockReserved`
    or `NotAllowedNow` naming each drum that is gone or changed since, and `AlreadyRecorded`.
    """
    order = orders.lock(order)
    refuse_repeat(OrderEvent, key, made=order)
    if order.status != Order.Status.QUOTED:
        raise NotAllowedNow(
            _("%(order)s is no longer an open quote. Its state is now “%(status)s”.")
            % {"order": order.number, "status": order.get_status_display()}
        )
    on = on or timezone.localdate()
    if order.valid_until and on > order.valid_until:
        raise QuoteExpired(
            _("Quote %(order)s was valid until %(day)s. Make a new quote at today's price.")
            % {"order": order.number, "day": date_format(order.valid_until)},
            order=order.number,
        )
    lines = orders.lines_of(order)
    problems = Problems()
    order_lines.check_private_labels(problems, order.customer, lines)
    ledger.lock_items(order_lines.items_of(lines))
    order_lines.check_moisture(problems, lines, moisture_is_right=moisture_is_right)
    problems.raise_any()
    weights.follow_scale(order, lines)
    reservations.reserve(lines)
    if not over_limit:
        # The order counts as a quote until its status is saved; a quote is always somebody's.
        before = Order.objects.credit_of(cast(Customer, order.customer))
        orders.check_credit(before, sum(line.amount_cents for line in lines))
    order.status = Order.Status.OPEN
    order.save(update_fields=["status"])
    orders.note_event(order, OrderEvent.Kind.ACCEPTED, by=accepted_by, key=key)
    return order
