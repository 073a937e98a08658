"""Bill services at once: order, hand-over and invoice in one go; a credit note undoes all."""

from collections.abc import Sequence
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice
from apiary_sales.billing.services import invoices
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules.lines import LineWanted, parameter_of
from apiary_sales.orders.services import orders
from inventory.shared import keys
from inventory.shared.errors import Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat


@transaction.atomic
def bill(
    *,
    customer: Customer,
    lines: Sequence[LineWanted],
    billed_by: Person,
    key: str,
    billed_on: date | None = None,
    note: str = "",
    over_limit: bool = False,
) -> Invoice:
    """Bill services that are done, such as a fee or interest, and return the invoice.

    Credited, nothing is left to do of its order. Raises `BadValue`, `OverCreditLimit`, and
    `AlreadyRecorded` with the invoice made first.
    """
    refuse_repeat(Invoice, keys.part(key, "invoice"), made=find(key))
    billed_on = billed_on or timezone.localdate()
    problems = Problems()
    for index, line in enumerate(lines):
        if line.kind != OrderLine.Kind.SERVICE:
            problems.add(
                parameter_of(index, "kind"),
                _("Goods are not billed this way. Take an order for them."),
            )
    if billed_on > timezone.localdate():
        problems.add(
            "billed_on",
            _("An invoice can't be dated in the future. Choose today or earlier."),
        )
    problems.raise_any()
    order = orders.take(
        customer=customer,
        channel=Order.Channel.SERVICE,
        lines=lines,
        placed_on=billed_on,
        note=note,
        over_limit=over_limit,
        created_by=billed_by,
        key=keys.part(key, "order"),
    )
    orders.fulfil(order=order, filled_by=billed_by, filled_on=billed_on, key=keys.part(key, "done"))
    return invoices.issue(order=order, issued_by=billed_by, key=keys.part(key, "invoice"))


def find(key: str) -> Invoice | None:
    """Return the invoice already made with this idempotency key."""
    return invoices.find(keys.part(key, "invoice"))
