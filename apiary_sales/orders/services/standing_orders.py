"""Standing orders: set up, changed, paused, and their orders of a day confirmed in one step."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from apiary_sales.orders.rules import pieces as rules
from apiary_sales.orders.rules import rhythm as rhythms
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import orders
from apiary_sales.orders.trade_models import StandingOrder, StandingOrderDay, StandingOrderLine
from inventory.shared import keys
from inventory.shared.errors import HouseError, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

CHANNELS = (Order.Channel.SHOP, Order.Channel.DELIVERY)


@dataclass(frozen=True)
class DueOrder:
    """A standing order on one of its days, with its lines at the prices of the day."""

    standing: StandingOrder
    due_on: date
    lines: Sequence[LineWanted]


@transaction.atomic
def set_up(
    *,
    customer: Customer,
    channel: str,
    rhythm: str,
    lines: Sequence[PiecesWanted],
    starts_on: date,
    created_by: Person,
    key: str,
    ends_on: date | None = None,
    customer_reference: str = "",
    note: str = "",
) -> StandingOrder:
    """Write down what a customer wants again and again; raises `BadValue`, `AlreadyRecorded`."""
    refuse_repeat(StandingOrder, key)
    problems = Problems()
    orders.check_customer(problems, customer)
    if channel not in CHANNELS:
        problems.add("channel", _("Choose how it is sold: shop, delivery or drums."))
    _check(problems, rhythm, lines, starts_on, ends_on)
    problems.raise_any()
    standing = StandingOrder.objects.create(
        customer=customer,
        channel=channel,
        rhythm=rhythm,
        starts_on=starts_on,
        ends_on=ends_on,
        customer_reference=customer_reference.strip(),
        note=note.strip(),
        created_by=created_by,
        idempotency_key=key,
    )
    _write_lines(standing, lines)
    return standing


@transaction.atomic
def change(
    *,
    standing: StandingOrder,
    rhythm: str,
    lines: Sequence[PiecesWanted],
    starts_on: date,
    ends_on: date | None = None,
    customer_reference: str = "",
    note: str = "",
) -> StandingOrder:
    """Change a standing order from its next day on; orders that were confirmed stay as they are.

    Raises `BadValue`.
    """
    standing = _lock(standing)
    problems = Problems()
    _check(problems, rhythm, lines, starts_on, ends_on)
    problems.raise_any()
    standing.rhythm, standing.starts_on, standing.ends_on = rhythm, starts_on, ends_on
    standing.customer_reference, standing.note = customer_reference.strip(), note.strip()
    standing.save()
    standing.lines.all().delete()
    _write_lines(standing, lines)
    return standing


@transaction.atomic
def pause(*, standing: StandingOrder, is_paused: bool) -> StandingOrder:
    """Let a standing order rest until it is resumed, or resume it."""
    standing = _lock(standing)
    standing.is_paused = is_paused
    standing.save(update_fields=["is_paused"])
    return standing


@transaction.atomic
def confirm(
    *, due: Sequence[DueOrder], confirmed_by: Person, key: str, over_limit: bool = False
) -> list[Order]:
    """Take the orders of these standing orders and days, all or none, and return them.

    `over_limit` as for `orders.take`. Raises, at `due.<position>`, whatever an order is refused
    for; `NotAllowedNow` for a day that was decided already, `AlreadyRecorded`.
    """
    problems = Problems()
    if not due:
        problems.add("due", _("Tick at least one order."))
    problems.raise_any()
    list(
        StandingOrder.objects.select_for_update(no_key=True)
        .filter(pk__in=[each.standing.pk for each in due])
        .order_by("pk")
    )
    refuse_repeat(StandingOrderDay, keys.part(key, 0))
    made = []
    for index, each in enumerate(due):
        try:
            made.append(_take(each, confirmed_by, keys.part(key, index), over_limit))
        except HouseError as error:
            for problem in error.problems:
                if problem.parameter != "over_limit":
                    problem.parameter = f"due.{index}"
                problem.message = f"{each.standing.customer.name}: {problem.message}"
                problem.args = (problem.message,)
                problems.add_error(problem)
    problems.raise_any()
    return made


@transaction.atomic
def leave_out(
    *, standing: StandingOrder, due_on: date, decided_by: Person, key: str
) -> StandingOrderDay:
    """Decide that a standing order has no order on one of its days.

    Raises `BadValue` for another day, `NotAllowedNow` for one that was decided already,
    `AlreadyRecorded`.
    """
    standing = _lock(standing)
    refuse_repeat(StandingOrderDay, key)
    _check_undecided(standing, due_on)
    return StandingOrderDay.objects.create(
        standing=standing, due_on=due_on, decided_by=decided_by, idempotency_key=key
    )


def _take(each: DueOrder, confirmed_by: Person, key: str, over_limit: bool) -> Order:
    # Each is taken in a transaction of its own, so that what is wrong with the next is told too.
    with transaction.atomic():
        _check_undecided(each.standing, each.due_on)
        order = orders.take(
            customer=each.standing.customer,
            channel=each.standing.channel,
            lines=each.lines,
            wanted_on=max(each.due_on, timezone.localdate()),
            customer_reference=each.standing.customer_reference,
            note=each.standing.note,
            over_limit=over_limit,
            created_by=confirmed_by,
            key=keys.part(key, "order"),
        )
        StandingOrderDay.objects.create(
            standing=each.standing,
            due_on=each.due_on,
            order=order,
            decided_by=confirmed_by,
            idempotency_key=key,
        )
    return order


def _check_undecided(standing: StandingOrder, due_on: date) -> None:
    problems, figures = Problems(), {"day": date_format(due_on), "standing": standing}
    due = rhythms.last_due(
        standing.rhythm, starts_on=standing.starts_on, ends_on=standing.ends_on, upto=due_on
    )
    if due != due_on:
        problems.add("due_on", _("%(day)s is no day of this standing order.") % figures)
    problems.raise_any()
    decided = standing.days.filter(due_on=due_on).select_related("order").first()
    if decided and decided.order:
        raise NotAllowedNow(
            _("Order %(order)s was taken already for %(day)s.")
            % {**figures, "order": decided.order.number}
        )
    if decided:
        raise NotAllowedNow(_("%(day)s was left out already.") % figures)


def _check(
    problems: Problems,
    rhythm: str,
    lines: Sequence[PiecesWanted],
    starts_on: date,
    ends_on: date | None,
) -> None:
    if rhythm not in StandingOrder.Rhythm.values:
        problems.add("rhythm", _("Choose one from the list."))
    orders.check_not_far(problems, "starts_on", starts_on)
    if ends_on and ends_on < starts_on:
        problems.add("ends_on", _("The last day is before the first. Choose a later day."))
    rules.check(problems, lines)


def _write_lines(standing: StandingOrder, lines: Sequence[PiecesWanted]) -> None:
    StandingOrderLine.objects.bulk_create(
        StandingOrderLine(standing=standing, product=line.product, pieces=line.pieces)
        for line in lines
    )


def _lock(standing: StandingOrder) -> StandingOrder:
    return (
        StandingOrder.objects.select_for_update(of=("self",), no_key=True)
        .select_related("customer")
        .get(pk=standing.pk)
    )
