"""Money received, put to invoices, and given back."""

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from itertools import accumulate
from typing import TYPE_CHECKING

from django.db import models, transaction
from django.db.models import Q, QuerySet, Sum, TextChoices
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.billing import rules
from apiary_sales.billing.models import (
    Adjustment,
    BouncedCheck,
    DepositSlip,
    Entry,
    EntryLine,
    Invoice,
    Payment,
)
from apiary_sales.billing.services import adjustments, beginning, book
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.customers.models import Customer, CustomerBalance
from apiary_sales.orders.models import Order
from inventory.shared import acts, conventions, keys, words
from inventory.shared.coins import to_coins
from inventory.shared.errors import BadValue, CannotReverse, HouseError, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.prepared import Given, PreparedQuery
from inventory.shared.services.repeats import refuse_repeat

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    from apiary_sales.billing.models.payments import LeftOnPayment

# A million in one payment is a slip of the finger in a honey house.
AMOUNT_CENTS_MAX = 100_000_000
# An older date is treated as a typing error.
DAYS_BACK_MAX = timedelta(days=366)
# The same amount from the same customer within so many days may be the same payment.
ALIKE_WITHIN = timedelta(days=7)
# Where money given on top at the stand is entered.
ON_TOP = (Account.TIPS, Account.GIFTS)


class Rest(TextChoices):
    """What happens with what a payment leaves of the invoices it is put to."""

    LEAVE = "leave", gettext_lazy("It is still to be paid")
    DISCOUNT = "discount", gettext_lazy("It is the discount for early payment")
    WRITE_OFF = "write_off", gettext_lazy("Write it off")


@acts.act
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
    on_top_cents: int = 0,
    rounding_cents: int | None = None,
    on_top_account: str | None = None,
    note: str = "",
    order: Order | None = None,
    rest: str = Rest.LEAVE,
    rest_reason: str = "",
    is_another: bool = True,
    is_at_once: bool = False,
) -> Payment:
    """Record money received and put it to invoices; what is over stays on the customer's account.

    `allocations` says how much goes to which invoice; left out, the invoices due first are paid
    first. `tendered_cents` is the cash that was handed over, where it was more. `on_top_cents` came
    with a check beyond the amount; it is entered on `on_top_account` here, or by the caller. Cash
    is rounded to the smallest coin: an amount that can't be paid is taken for what is due, and one
    that is what is due, rounded, pays all that is due; `rounding_cents` says the difference where
    the caller knows it, and `amount_cents` is then what is due. Money
    for an `order` that is not invoiced yet is kept for its invoices. `rest` says what happens with
    what these invoices have left to pay. With `is_another` False, a payment that looks like one
    that is recorded already is refused with the question whether it is the same. `is_at_once` says
    that the invoices are of the same act, so that nobody else has put anything to them.
    Raises `BadValue` (or several at once; of a row at `allocations.<position>.<name>`),
    `LooksLikeAnother`, `NotAllowedNow`, `AlreadyRecorded`.
    """
    received_on = received_on or timezone.localdate()
    book.lock_customer(customer)
    refuse_repeat(Payment, key, message=_("This payment was recorded already."))
    if rounding_cents is None and method == Payment.Method.CASH:
        handed_cents = to_coins(amount_cents)
        if handed_cents == amount_cents:
            amount_cents = _exactly_due(customer, amount_cents, allocations, order)
        rounding_cents = handed_cents - amount_cents
    problems = Problems()
    _check_amount(problems, amount_cents)
    _check_how(problems, method)
    _check_day(problems, "received_on", received_on, method, of=allocations or ())
    if allocations is not None and not is_at_once:
        _check_allocations(problems, customer, amount_cents, allocations)
    if rest == Rest.WRITE_OFF and not rest_reason.strip():
        problems.add("rest_reason", _("Say why it will not be paid."))
    elif rest not in Rest.values:
        problems.add("rest", _("Choose one from the list."))
    if order is not None and (customer is None or order.customer_id != customer.pk):
        problems.add(
            "order",
            _("Order %(order)s is not one of this customer's.") % {"order": order.number},
        )
    if not is_another and (
        twin := looks_like(customer, amount_cents, method, received_on, reference)
    ):
        problems.add_error(LooksLikeAnother(_question(twin), parameter="is_another"))
    problems.raise_any()
    payment = Payment.objects.create(
        customer=customer,
        method=method,
        amount_cents=amount_cents,
        tendered_cents=tendered_cents,
        on_top_cents=on_top_cents,
        rounding_cents=rounding_cents or 0,
        received_on=received_on,
        reference=reference.strip(),
        note=note.strip(),
        received_by=received_by,
        order=order,
        idempotency_key=key,
    )
    _enter(payment, on_top_account)
    if allocations is not None:
        shares = list(allocations.items())
    elif order is not None:
        of_order = Invoice.objects.open_of(customer).filter(order=order)
        shares = rules.oldest_first(of_order, amount_cents)
    else:
        shares = rules.oldest_first(Invoice.objects.open_of(customer), amount_cents)
    book.settle(payment, shares, put_on=received_on, are_own=is_at_once)
    if rest != Rest.LEAVE:
        _settle_rests(payment, [bill for bill, cents in shares if cents], rest, rest_reason)
    return payment


def _exactly_due(
    customer: Customer | None,
    handed_cents: int,
    allocations: Mapping[Invoice, int] | None,
    order: Order | None,
) -> int:
    """Return what cash pays that is what is due, rounded to the smallest coin; else the cash."""
    if conventions.current().smallest_coin_cents == 1:
        return handed_cents
    if allocations is not None:
        sums = [sum(allocations.values())]
    elif customer is not None:
        bills = Invoice.objects.open_of(customer)
        if order is not None:
            bills = bills.filter(order=order)
        # It may pay the first of them, the first two and so on.
        sums = list(accumulate(bill.open_cents for bill in bills))
    else:
        sums = []
    return next(
        (cents for cents in sums if cents and to_coins(cents) == handed_cents), handed_cents
    )


def _settle_rests(payment: Payment, invoices: list[Invoice], rest: str, reason: str) -> None:
    for number, invoice in enumerate(invoices):
        if not invoice.open_cents:
            continue
        if rest == Rest.DISCOUNT:
            _check_discount(invoice, payment.received_on)
        adjustments.adjust(
            invoice=invoice,
            kind=Adjustment.Kind(rest),
            cents=invoice.open_cents,
            reason=reason,
            happened_on=max(payment.received_on, invoice.issued_on),
            payment=payment,
            made_by=payment.received_by,
            key=keys.part(payment.idempotency_key, f"rest-{number}"),
        )


def _check_discount(invoice: Invoice, paid_on: date) -> None:
    """Refuse a discount that the terms of an invoice do not give, or not on this day."""
    offered_cents = invoice.discount_cents
    if not invoice.discount_until or not offered_cents:
        raise BadValue(
            _("The terms of invoice %(invoice)s give no discount for early payment.")
            % {"invoice": invoice},
            parameter="rest",
        )
    if paid_on > invoice.discount_until:
        raise BadValue(
            _("The discount on invoice %(invoice)s was for payment by %(day)s.")
            % {"invoice": invoice, "day": date_format(invoice.discount_until)},
            parameter="rest",
        )
    if invoice.open_cents != offered_cents:
        raise BadValue(
            _(
                "The discount on invoice %(invoice)s is %(offered)s, and this payment leaves "
                "%(left)s."
            )
            % {
                "invoice": invoice,
                "offered": words.money(offered_cents),
                "left": words.money(invoice.open_cents),
            },
            parameter="rest",
        )


class LooksLikeAnother(HouseError):
    """The same money may have been recorded already; a person says whether it was."""

    code = "looks_like_another"


def looks_like(
    customer: Customer | None, amount_cents: int, method: str, received_on: date, reference: str
) -> Payment | None:
    """Return a payment that is in the books already and may be this one, or None.

    That is one of the same customer, amount and way within a few days, or a check with the same
    number.
    """
    if customer is None:
        return None
    alike = Q(
        amount_cents=amount_cents,
        method=method,
        received_on__range=(received_on - ALIKE_WITHIN, received_on + ALIKE_WITHIN),
    )
    if method == Payment.Method.CHECK and reference.strip():
        alike = (alike & Q(reference__in=["", reference.strip()])) | Q(
            method=method, reference__iexact=reference.strip()
        )
    return (
        Payment.objects.filter(alike, customer=customer, reverses=None, reversed_by__reverses=None)
        .order_by("-id")
        .first()
    )


def _question(twin: Payment) -> str:
    return _(
        "%(amount)s from %(customer)s, %(way)s, is recorded on %(day)s already. Is it the same "
        "payment? If it is another one, tick that it is."
    ) % {
        "amount": words.money(twin.amount_cents),
        "customer": twin.customer,
        "way": f"{twin.get_method_display()} {twin.reference}".strip(),
        "day": date_format(twin.received_on),
    }


@transaction.atomic
def begin_with(
    *,
    customer: Customer,
    amount_cents: int,
    begins_on: date,
    recorded_by: Person,
    key: str,
    reference: str = "",
    note: str = "",
) -> Payment:
    """Put an opening credit on a customer's account; `opening.credit` checks what was typed."""
    payment = Payment.objects.create(
        customer=customer,
        method=Payment.Method.OPENING,
        amount_cents=amount_cents,
        received_on=begins_on,
        reference=reference.strip(),
        note=note.strip(),
        received_by=recorded_by,
        idempotency_key=key,
    )
    _enter(payment)
    return payment


@transaction.atomic
def reverse(
    *,
    payment: Payment,
    reversed_by: Person,
    key: str,
    reason: str,
    reversed_on: date | None = None,
    is_bounced: bool = False,
) -> Payment:
    """Undo a payment (money handed back, a wrong entry) and return the opposite payment.

    The invoices it was put to are open again, with the discount that it took, and what was given on
    top with a check is gone. A check that was
    deposited comes back from the bank only as `bounced_checks` records it. Raises `CannotReverse`
    for a payment that was undone already or is an undo itself, `BadValue` without a reason,
    `AlreadyRecorded`.
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
    slip = DepositSlip.objects.filter(checks__payment=payment, undone_on=None).first()
    if slip and not is_bounced:
        raise CannotReverse(
            _(
                "This check is on deposit slip %(slip)s. Record that it bounced, or undo the "
                "deposit slip first."
            )
            % {"slip": slip}
        )
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
        on_top_cents=-payment.on_top_cents,
        rounding_cents=-payment.rounding_cents,
        received_on=reversed_on or timezone.localdate(),
        reference=payment.reference,
        note=reason.strip(),
        received_by=reversed_by,
        reverses=payment,
        order=payment.order,
        refunds=payment.refunds,
        idempotency_key=key,
    )
    _enter(reversal, on_top_account(payment))
    book.settle(
        reversal,
        [(invoice, -cents) for invoice, cents in shares],
        put_on=reversal.received_on,
    )
    adjustments.undo_with_payment(
        payment=payment,
        undone_by=reversed_by,
        key=key,
        reason=reason,
        undone_on=reversal.received_on,
    )
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
    refunds: Invoice | None = None,
) -> Payment:
    """Give money on a customer's account back to them, and return the negative payment.

    `refunds` is the credit note it is given back for. Raises `BadValue` for more than is on the
    account, or than the credit note comes to, `AlreadyRecorded`.
    """
    paid_on = paid_on or timezone.localdate()
    book.lock_customer(customer)
    refuse_repeat(Payment, key, message=_("This payment was recorded already."))
    there_cents = on_account_cents(customer)
    problems = Problems()
    _check_amount(problems, amount_cents)
    _check_how(problems, method)
    _check_day(problems, "paid_on", paid_on, method, of=[refunds] if refunds else ())
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
    elif refunds is not None and amount_cents > (left_cents := to_refund_cents(refunds)):
        problems.add(
            "amount_cents",
            _(
                "Of credit note %(note)s, %(left)s is not given back yet, so %(asked)s can't be "
                "given back. Enter a smaller amount."
            )
            % {
                "note": refunds,
                "left": words.money(left_cents),
                "asked": words.money(amount_cents),
            },
        )
    problems.raise_any()
    payment = Payment.objects.create(
        customer=customer,
        method=method,
        amount_cents=-amount_cents,
        rounding_cents=_rounding_back(amount_cents, method),
        received_on=paid_on,
        reference=reference.strip(),
        note=note.strip(),
        received_by=paid_by,
        refunds=refunds,
        idempotency_key=key,
    )
    _enter(payment)
    return payment


@transaction.atomic
def refund(
    *,
    note: Invoice,
    amount_cents: int,
    method: str,
    paid_by: Person,
    key: str,
    paid_on: date | None = None,
    reference: str = "",
    comment: str = "",
) -> Payment:
    """Give the money of a credit note back, and return the negative payment.

    Raises `NotAllowedNow` for what is no credit note of a customer, and as `pay_back`.
    """
    if note.customer is None or not note.is_credit_note:
        raise NotAllowedNow(_("Only the credit note of a customer can be given back."))
    return pay_back(
        customer=note.customer,
        amount_cents=amount_cents,
        method=method,
        paid_by=paid_by,
        key=key,
        paid_on=paid_on,
        reference=reference,
        note=comment,
        refunds=note,
    )


@transaction.atomic
def hand_back(
    *, note: Invoice, amount_cents: int, method: str, given_by: Person, key: str, reason: str
) -> Payment:
    """Give money back over the counter for the credit note of a stand receipt.

    `stand_returns` says how much, and that it was paid this way; return the negative payment.
    """
    payment = Payment.objects.create(
        customer=note.customer,
        method=method,
        amount_cents=-amount_cents,
        rounding_cents=_rounding_back(amount_cents, method),
        note=reason.strip(),
        received_by=given_by,
        refunds=note,
        idempotency_key=key,
    )
    _enter(payment)
    return payment


def _rounding_back(amount_cents: int, method: str) -> int:
    """Return what the smallest coin adds to money given back, which is below zero."""
    return amount_cents - to_coins(amount_cents) if method == Payment.Method.CASH else 0


def to_refund_cents(note: Invoice) -> int:
    """Return what of a credit note was not given back and is on the customer's account."""
    given = _sum(Payment.objects.filter(refunds=note), "amount_cents")
    return max(0, min(-note.total_cents + given, on_account_cents(note.customer)))


def paid_by(note: Invoice) -> str:
    """Return the way in which the last money for a credited invoice came, a check if none did."""
    last = (
        Payment.objects.filter(allocations__invoice=note.credits, reverses=None)
        .exclude(method=Payment.Method.OPENING)
        .order_by("-id")
        .first()
    )
    return last.method if last else Payment.Method.CHECK


@transaction.atomic
def use_on_account(*, invoice: Invoice) -> int:
    """Put money on the customer's account to an invoice, and return how many cents it took.

    Money for the invoice's order is used first, then what was received first; what is kept for
    another order is left. Raises `NotAllowedNow` when nothing is on account, or
    nothing is open on the invoice.
    """
    book.lock_customer(invoice.customer)
    invoice.refresh_from_db(fields=["open_cents"])
    if invoice.open_cents == 0:
        raise NotAllowedNow(
            _("There is no amount left to pay on invoice %(invoice)s.") % {"invoice": invoice}
        )
    left = money_left(invoice.customer)
    used_cents = _use(invoice, [*left.filter(order=invoice.order, order__isnull=False)])
    used_cents += _use(invoice, [*left.filter(order=None)])
    if not used_cents:
        raise NotAllowedNow(
            _("%(customer)s has no money on account.") % {"customer": invoice.customer}
        )
    return used_cents


@acts.act
def use_prepayments(*, invoice: Invoice) -> int:
    """Put what was paid in advance for an order to its new invoice; return how many cents."""
    if invoice.customer is None or invoice.order is None:
        return 0
    book.lock_customer(invoice.customer)
    left = _LEFT_FOR_ORDER.rows(customer=invoice.customer.pk, order=invoice.order.pk)
    return _use(invoice, left)


@transaction.atomic
def free_prepayment(*, payment: Payment) -> Payment:
    """Let money that was paid in advance for an order be used for any invoice of the customer.

    For an order that is cancelled or billed. Raises `NotAllowedNow` for money of no order.
    """
    book.lock_customer(payment.customer)
    payment = Payment.objects.select_for_update(of=("self",), no_key=True).get(pk=payment.pk)
    if payment.order_id is None:
        raise NotAllowedNow(_("This payment is not kept for an order."))
    payment.order = None
    payment.save(update_fields=["order"])
    return payment


def _use(invoice: Invoice, left: "list[WithAnnotations[Payment, LeftOnPayment]]") -> int:
    """Put what these payments have left to an invoice, as far as it is open; return the cents."""
    if not left:
        return 0
    # Giving money back does not lower `left_cents` of a payment: check the account as well.
    before_cents, there_cents = invoice.open_cents, on_account_cents(invoice.customer)
    for payment in left:
        cents = min(invoice.open_cents, payment.left_cents, there_cents)
        book.settle(payment, [(invoice, cents)])
        there_cents -= cents
    return before_cents - invoice.open_cents


def money_left(
    customer: Customer | Given | None,
) -> "QuerySet[WithAnnotations[Payment, LeftOnPayment]]":
    """Return the customer's payments that are not wholly put to invoices, with `left_cents`."""
    return (
        Payment.objects.filter(
            customer=customer, customer__isnull=False, reverses=None, reversed_by__reverses=None
        )
        .with_left()
        .filter(left_cents__gt=0)
        .order_by("received_on", "id")
    )


_LEFT_FOR_ORDER = PreparedQuery(
    lambda: money_left(Given("customer", models.IntegerField())).filter(
        order=Given("order", models.IntegerField())
    )
)


def left_for(order: Order) -> int:
    """Return what its customer paid that may be used for an order: for it, or for no order."""
    there_cents = on_account_cents(order.customer)
    if there_cents <= 0:
        return 0
    left = money_left(order.customer).filter(Q(order=order) | Q(order=None))
    return min(sum(payment.left_cents for payment in left), there_cents)


def on_account_cents(customer: Customer | None) -> int:
    """Return the money a customer paid that no bill uses and that was not given back."""
    if customer is None:
        return 0
    # What is open on bills, less what is owed: payments would be all that there ever were.
    open_cents = _sum(Invoice.objects.open().filter(customer=customer), "open_cents")
    return open_cents - CustomerBalance.objects.owed_cents(customer)


def _sum(rows: QuerySet[Payment] | QuerySet[Invoice], amount: str) -> int:
    cents: int = rows.aggregate(cents=Coalesce(Sum(amount), 0))["cents"]
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
    if method not in dict(Payment.WAYS):
        problems.add("method", _("Choose how it was paid: cash, check, card or bank transfer."))


def _check_day(
    problems: Problems, parameter: str, day: date, method: str, *, of: Iterable[Invoice]
) -> None:
    """Refuse a day to come, and one long ago, unless a bill that the money is for is of that time.

    Who enters an earlier year late has its bills entered first.
    """
    today = timezone.localdate()
    if day > today:
        problems.add(
            parameter, _("A payment can't be dated in the future. Choose today or an earlier day.")
        )
    elif day < today - DAYS_BACK_MAX and not any(
        bill.issued_on <= day <= bill.issued_on + DAYS_BACK_MAX for bill in of
    ):
        problems.add(
            parameter,
            _("%(day)s is more than a year ago. Check the date.") % {"day": date_format(day)},
        )
    elif day < today:
        beginning.check_paid_since(problems, parameter, day, method)


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
    for index, (invoice, cents) in enumerate(allocations.items()):
        open_cents = open_now.get(invoice.pk)
        if open_cents is None:
            problems.add(
                f"allocations.{index}.invoice",
                _("Invoice %(invoice)s is not one of this customer's.") % {"invoice": invoice},
            )
        elif not 0 <= cents <= open_cents:
            problems.add(
                f"allocations.{index}.amount_cents",
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


def on_top_account(payment: Payment) -> str | None:
    """Return the account on which that is which was given on top with a check, None without any."""
    if not payment.on_top_cents:
        return None
    # A check that was good after all is entered again; the first one was of a sale.
    while (bounced := BouncedCheck.objects.filter(recorded_again=payment).first()) is not None:
        payment = bounced.payment
    lines = EntryLine.objects.filter(
        entry__stand_sale__receipt__allocations__payment=payment, account__in=ON_TOP
    )
    return lines.values_list("account", flat=True).first()


def _enter(payment: Payment, on_top_account: str | None = None) -> None:
    """Enter a payment, with what was given on top where `on_top_account` is given."""
    on_top_cents = payment.on_top_cents if on_top_account else 0
    book.enter(
        kind=Entry.Kind.PAYMENT,
        lines=[
            # The accounts of money are named as the ways it is paid.
            BookLine(Account(payment.method), payment.handed_cents + on_top_cents),
            BookLine(Account.CASH_ROUNDING, -payment.rounding_cents),
            BookLine(on_top_account or Account.GIFTS, -on_top_cents),
            BookLine(Account.RECEIVABLE, -payment.amount_cents, payment.customer),
        ],
        happened_on=payment.received_on,
        payment=payment,
    )
