"""Orders that their buyers fetch at a stand: the goods, the invoice and the money in one act."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice, StandSale
from apiary_sales.billing.services import invoices, stand_days, stand_money
from apiary_sales.billing.services.payments import left_for, use_on_account
from apiary_sales.billing.services.stand_money import PaymentMade, Settled
from apiary_sales.customers.models import Customer
from apiary_sales.orders.errors import OverCreditLimit
from apiary_sales.orders.models import Order
from apiary_sales.orders.rules import pickups as rules
from apiary_sales.orders.services import orders, pickups
from inventory.shared import checks, keys, words
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import own_places
from inventory.stock.models import Place


@dataclass(frozen=True)
class PickupBill:
    """What goods of an order come to with tax, and what of it was paid before."""

    total_cents: int
    paid_before_cents: int

    @property
    def to_pay_cents(self) -> int:
        return self.total_cents - self.paid_before_cents


def find(key: str) -> StandSale | None:
    """Return what was handed over with this idempotency key."""
    return StandSale.objects.filter(key=keys.with_room(key)).select_related("receipt").first()


def bill(
    *, order: Order, place: Place, quantities: Mapping[int, int], is_brought: bool = False
) -> PickupBill:
    """Return what `hand_over` would ask for now; nothing is written.

    What was handed over before and is on no invoice yet is part of it. Raises `NotEnoughStock`.
    """
    wanted = {
        line: quantity for line in orders.lines_of(order) if (quantity := quantities.get(line.pk))
    }
    goods = [
        *invoices.to_invoice(order),
        *pickups.draft(order, wanted, place, is_brought=is_brought),
    ]
    if not goods:
        return PickupBill(0, 0)
    draft = invoices.compose(order, [(good, invoices.line_of(good)) for good in goods])
    total_cents = draft.invoice.total_cents
    return PickupBill(total_cents, min(total_cents, left_for(order)))


@transaction.atomic
def hand_over(
    *,
    order: Order,
    place: Place,
    payments: Sequence[PaymentMade],
    handed_over_by: Person,
    key: str,
    quantities: Mapping[int, int] | None = None,
    is_brought: bool = False,
    on_account: bool = False,
    on_top_cents: int = 0,
    expected_total_cents: int | None = None,
) -> StandSale:
    """Hand over goods of an order at a stand, write their invoice and take what is left to pay.

    Without `quantities`, by the key of their line, all pieces that are left. Pieces reserved
    elsewhere are handed over only when they were carried to the place (`is_brought`). What was
    paid in advance, and money on the customer's account, is used first. The rest is paid now or,
    with `on_account`, owed by the terms of the customer: `payments` are then a part of it, or none.
    `expected_total_cents` is what was shown as left to pay.
    The invoice gets a `StandSale`, so that it counts in the takings of the place.
    Raises `BadValue` (or several), `NotAllowedNow`, `NotEnoughStock`, `FiguresChanged`,
    `OverCreditLimit`, and `AlreadyRecorded` with what was made first.
    """
    order = orders.lock(order)
    key, made = keys.with_room(key), find(key)
    refuse_repeat(
        Invoice, keys.part(key, "invoice"), made=made, message=_("This was handed over already.")
    )
    if made is not None:
        raise AlreadyRecorded(_("This was recorded already."), made=made)
    if not rules.may_be_fetched(order):
        raise NotAllowedNow(
            _("Order %(order)s is not one that its buyer fetches.") % {"order": order.number}
        )
    problems = Problems()
    _check_place(problems, place, handed_over_by)
    stand_money.check(problems, payments, on_top_cents, has_happened=False)
    wanted = _wanted(problems, order, quantities)
    if on_account and not _has_terms(order.customer):
        problems.add(
            "on_account",
            _("%(customer)s has no terms of payment. It is paid now.")
            % {"customer": order.customer},
        )
    problems.raise_any()
    orders.fulfil(
        order=order,
        filled_by=handed_over_by,
        key=keys.part(key, "goods"),
        quantities=wanted,
        place=place,
        is_brought=is_brought,
    )
    invoice = invoices.issue(order=order, issued_by=handed_over_by, key=keys.part(key, "invoice"))
    _use_money_on_account(invoice)
    checks.check_total(invoice.open_cents, expected_total_cents)
    settled = _settle(payments, invoice, on_top_cents, on_account=on_account)
    on_top_entry = stand_money.receive(
        settled,
        receipt=invoice,
        customer=order.customer,
        received_on=timezone.localdate(),
        received_by=handed_over_by,
        key=key,
    )
    if invoice.open_cents:
        _check_credit(order)
    now = timezone.now()
    sale = StandSale.objects.create(
        receipt=invoice,
        place=place,
        source=StandSale.Source.OTHER,
        sold_at=now,
        sold_by=handed_over_by,
        sent_by=handed_over_by,
        key=key,
        on_top_cents=settled.on_top_cents,
        on_top_entry=on_top_entry,
        recorded_at=now,
    )
    stand_days.sale_came_in(sale=sale, corrected=None)
    return sale


def _has_terms(customer: Customer | None) -> bool:
    return customer is not None and customer.terms_days > 0


def _check_place(problems: Problems, place: Place, person: Person) -> None:
    own_places.check(problems, "place", place, person)
    if place.kind not in Place.STORES or not place.is_active:
        problems.add(
            "place",
            _("%(place)s is not a shelf, stand or van. Choose another place.")
            % {"place": place.name},
        )


def _wanted(
    problems: Problems, order: Order, quantities: Mapping[int, int] | None
) -> dict[int, int]:
    """Return how much of which line to hand over, by the key of the line."""
    may = {line.pk: line for line in orders.lines_of(order) if line.kind in rules.KINDS}
    if quantities is None:
        return {key: line.to_fill for key, line in may.items() if line.to_fill}
    for key in quantities:
        if key not in may and any(line.pk == key for line in orders.lines_of(order)):
            problems.add(
                f"quantities.{key}",
                _("This is not counted in pieces. The office hands it over."),
            )
    return dict(quantities)


def _use_money_on_account(invoice: Invoice) -> None:
    # What was kept for the order is used already, as the invoice was written.
    if invoice.open_cents and invoice.order and left_for(invoice.order):
        use_on_account(invoice=invoice)


def _settle(
    paid: Sequence[PaymentMade], invoice: Invoice, on_top_cents: int, *, on_account: bool
) -> Settled:
    to_pay_cents = invoice.open_cents
    if on_account and all(each.cents is not None for each in paid):
        given_cents = sum(each.cents or 0 for each in paid) - on_top_cents
        to_pay_cents = min(to_pay_cents, max(0, given_cents))
    elif to_pay_cents and not paid:
        raise BadValue(
            _("%(amount)s is to be paid. Choose how it was paid: cash, card or check.")
            % {"amount": words.money(to_pay_cents)},
            parameter="payments",
        )
    return stand_money.settle(
        paid, total_cents=to_pay_cents, on_top_cents=on_top_cents, has_happened=False
    )


def _check_credit(order: Order) -> None:
    """Refuse what would be owed beyond the credit limit; only the office may go beyond it."""
    customer = order.customer
    if customer is None or customer.credit_limit_cents is None:
        return
    credit = Order.objects.credit_of(customer)
    if credit.warning(0):
        raise OverCreditLimit(
            _(
                "With this, %(customer)s would owe %(sum)s, orders not invoiced yet included. That "
                "is over the credit limit of %(limit)s. Take the money now, or ask the office."
            )
            % {
                "customer": customer,
                "sum": words.money(credit.owed_cents + credit.ordered_cents),
                "limit": words.money(customer.credit_limit_cents),
            },
            parameter="on_account",
        )
