"""Money received, put to invoices, and given back."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import TYPE_CHECKING, TypedDict

from django.db import transaction
from django.db.models import F, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing import rules
from apiary_sales.billing.models import Allocation, Entry, Invoice, Payment
from apiary_sales.billing.services import book
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.customers.models import Customer
from inventory.shared import words
from inventory.shared.errors import CannotReverse, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

# A million in one payment is a slip of the finger in a honey house.
AMOUNT_CENTS_MAX = 100_000_000
# An older date is treated as a typing error.
DAYS_BACK_MAX = timedelta(days=366)


@transaction.atomic
def receive(
    *,
    customer: Customer | None,
    amount_cents: int,
    method: str,
    received_by: Person,
    key: str,
    received_on: date | None = None,
    reference: str = "",
    allocations: Mapping[Invoice, int] | None = None,
    tendered_cents: int | None = None,
    note: str = "",
) -> Payment:
    """Record money received and put it to invoices; what is over stays on the customer's account.

    `allocations` says how much goes to which invoice; left out, the invoices due first are paid
    first. `tendered_cents` is the cash that was handed over, where it was more.
    Raises `BadValue` (or several at once), `AlreadyRecorded`.
    """
    received_on = received_on or timezone.localdate()
    book.lock_customer(customer)
    refuse_repeat(Payment, key, message=_("This payment was recorded already."))
    problems = Problems()
    _check_amount(problems, amount_cents)
    _check_how(problems, method)
    _check_day(problems, "received_on", received_on)
    if allocations is not None:
        _check_allocations(problems, customer, amount_cents, allocations)
    problems.raise_any()
    payment = Payment.objects.create(
        customer=customer,
        method=method,
        amount_cents=amount_cents,
        tendered_cents=tendered_cents,
        received_on=received_on,
        reference=reference.strip(),
        note=note.strip(),
        received_by=received_by,
        idempotency_key=key,
    )
    _enter(payment)
    if allocations is None:
        shares = rules.oldest_first(Invoice.objects.open_of(customer), amount_cents)
    else:
        shares = list(allocations.items())
    book.settle(payment, shares, put_on=received_on)
    return payment


@transaction.atomic
def reverse(
    *,
    payment: Payment,
    reversed_by: Person,
    key: str,
    reason: str,
    reversed_on: date | None = None,
) -> Payment:
    """Undo a payment (a bounced check, money handed back) and return the opposite payment.

    The invoices it was put to are open again. Raises `CannotReverse` for a payment that was
    undone already or is an undo itself, `BadValue` without a reason, `AlreadyRecorded`.
    """
    book.lock_customer(payment.customer)
    payment = (
        Payment.objects.select_for_update(of=("self",), no_key=True)
        .select_related("customer")
        .get(pk=payment.pk)
    )
    refuse_repeat(Payment, key, message=_("This payment was undone already."))
    if payment.reverses_id:
        raise CannotReverse(
            _(
                "This record undoes a payment, so it can't be undone itself. Record the "
                "payment again instead."
            )
        )
    if Payment.objects.filter(reverses=payment).exists():
        raise CannotReverse(_("This payment was undone already."))
    shares = put_to(payment)
    left_cents = payment.amount_cents - sum(cents for _invoice, cents in shares)
    if payment.customer_id and left_cents > on_account_cents(payment.customer):
        raise CannotReverse(
            _("Part of this payment was given back to %(customer)s. Undo that first.")
            % {"customer": payment.customer}
        )
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say why the payment is undone, for example: check bounced."))
    problems.raise_any()
    reversal = Payment.objects.create(
        customer=payment.customer,
        method=payment.method,
        amount_cents=-payment.amount_cents,
        received_on=reversed_on or timezone.localdate(),
        reference=payment.reference,
        note=reason.strip(),
        received_by=reversed_by,
        reverses=payment,
        idempotency_key=key,
    )
    _enter(reversal)
    book.settle(reversal, [(invoice, -cents) for invoice, cents in shares])
    return reversal


@transaction.atomic
def pay_back(
    *,
    customer: Customer,
    amount_cents: int,
    method: str,
    paid_by: Person,
    key: str,
    paid_on: date | None = None,
    reference: str = "",
    note: str = "",
) -> Payment:
    """Give money on a customer's account back to them, and return the negative payment.

    Raises `BadValue` for more than is on the account, `AlreadyRecorded`.
    """
    paid_on = paid_on or timezone.localdate()
    book.lock_customer(customer)
    refuse_repeat(Payment, key, message=_("This payment was recorded already."))
    there_cents = on_account_cents(customer)
    problems = Problems()
    _check_amount(problems, amount_cents)
    _check_how(problems, method)
    _check_day(problems, "paid_on", paid_on)
    if amount_cents > there_cents:
        problems.add(
            "amount_cents",
            _(
                "%(customer)s has %(there)s on account, so %(asked)s can't be given back. "
                "Enter a smaller amount."
            )
            % {
                "asked": words.money(amount_cents),
                "customer": customer,
                "there": words.money(there_cents),
            },
        )
    problems.raise_any()
    payment = Payment.objects.create(
        customer=customer,
        method=method,
        amount_cents=-amount_cents,
        received_on=paid_on,
        reference=reference.strip(),
        note=note.strip(),
        received_by=paid_by,
        idempotency_key=key,
    )
    _enter(payment)
    return payment


@transaction.atomic
def use_on_account(*, invoice: Invoice) -> int:
    """Put money on the customer's account to an invoice, and return how many cents it took.

    Money received first is used first. Raises `NotAllowedNow` when nothing is on account, or
    nothing is open on the invoice.
    """
    book.lock_customer(invoice.customer)
    invoice.refresh_from_db(fields=["open_cents"])
    if invoice.open_cents == 0:
        raise NotAllowedNow(
            _("There is no amount left to pay on invoice %(invoice)s.") % {"invoice": invoice}
        )
    before = invoice.open_cents
    # Giving money back does not lower `left_cents` of a payment: check the account as well.
    there_cents = on_account_cents(invoice.customer)
    for payment in money_left(invoice.customer):
        cents = min(invoice.open_cents, payment.left_cents, there_cents)
        book.settle(payment, [(invoice, cents)])
        there_cents -= cents
    if invoice.open_cents == before:
        raise NotAllowedNow(
            _("%(customer)s has no money on account.") % {"customer": invoice.customer}
        )
    return before - invoice.open_cents


class LeftOnPayment(TypedDict):
    left_cents: int


def money_left(customer: Customer | None) -> "QuerySet[WithAnnotations[Payment, LeftOnPayment]]":
    """Return the customer's payments that are not wholly put to invoices, with `left_cents`."""
    return (
        Payment.objects.filter(
            customer=customer, customer__isnull=False, reverses=None, reversed_by=None
        )
        .annotate(left_cents=F("amount_cents") - Coalesce(Sum("allocations__amount_cents"), 0))
        .filter(left_cents__gt=0)
        .order_by("received_on", "id")
    )


def on_account_cents(customer: Customer | None) -> int:
    """Return the money a customer paid that no bill uses and that was not given back."""
    if customer is None:
        return 0
    paid = Payment.objects.filter(customer=customer)
    put = Allocation.objects.filter(payment__customer=customer)
    return _sum(paid) - _sum(put)


def _sum(rows: QuerySet[Payment] | QuerySet[Allocation]) -> int:
    cents: int = rows.aggregate(cents=Coalesce(Sum("amount_cents"), 0))["cents"]
    return cents


def put_to(payment: Payment) -> list[tuple[Invoice, int]]:
    """Return the invoices a payment is put to, and how many cents to each."""
    rows = (
        payment.allocations.values("invoice")
        .order_by("invoice")
        .annotate(cents=Sum("amount_cents"))
        .exclude(cents=0)
    )
    cents = {row["invoice"]: row["cents"] for row in rows}
    return [(invoice, cents[invoice.pk]) for invoice in Invoice.objects.filter(pk__in=cents)]


def _check_amount(problems: Problems, amount_cents: int) -> None:
    if amount_cents <= 0:
        problems.add("amount_cents", _("Enter an amount above zero."))
    elif amount_cents > AMOUNT_CENTS_MAX:
        problems.add(
            "amount_cents",
            _("%(amount)s is too much for one payment. Check the figure.")
            % {"amount": words.money(amount_cents)},
        )


def _check_how(problems: Problems, method: str) -> None:
    if method not in Payment.Method.values:
        problems.add("method", _("Choose how it was paid: cash, check, card or bank transfer."))


def _check_day(problems: Problems, parameter: str, day: date) -> None:
    today = timezone.localdate()
    if day > today:
        problems.add(
            parameter, _("A payment can't be dated in the future. Choose today or an earlier day.")
        )
    elif day < today - DAYS_BACK_MAX:
        problems.add(
            parameter,
            _("%(day)s is more than a year ago. Check the date.") % {"day": date_format(day)},
        )


def _check_allocations(
    problems: Problems,
    customer: Customer | None,
    amount_cents: int,
    allocations: Mapping[Invoice, int],
) -> None:
    open_now = dict(
        Invoice.objects.filter(
            customer=customer, pk__in=[invoice.pk for invoice in allocations]
        ).values_list("pk", "open_cents")
    )
    for invoice, cents in allocations.items():
        open_cents = open_now.get(invoice.pk)
        if open_cents is None:
            problems.add(
                "allocations",
                _("Invoice %(invoice)s is not one of this customer's.") % {"invoice": invoice},
            )
        elif not 0 <= cents <= open_cents:
            problems.add(
                "allocations",
                _(
                    "You entered %(asked)s for invoice %(invoice)s, which has %(open)s "
                    "left to pay. Enter an amount from 0 to %(open)s."
                )
                % {
                    "asked": words.money(cents),
                    "invoice": invoice,
                    "open": words.money(open_cents),
                },
            )
    put_cents = sum(allocations.values())
    if put_cents > amount_cents:
        problems.add(
            "allocations",
            _(
                "The amounts for the invoices come to %(put)s, but the payment is only "
                "%(amount)s. Enter smaller amounts."
            )
            % {"put": words.money(put_cents), "amount": words.money(amount_cents)},
        )


def _enter(payment: Payment) -> None:
    book.enter(
        kind=Entry.Kind.PAYMENT,
        lines=[
            # The accounts of money are named as the ways it is paid.
            BookLine(Account(payment.method), payment.amount_cents),
            BookLine(Account.RECEIVABLE, -payment.amount_cents, payment.customer),
        ],
        happened_on=payment.received_on,
        payment=payment,
    )
