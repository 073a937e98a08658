"""The only code that changes the book of money.

`enter` writes a balanced entry and keeps what the customer owes in the same transaction. `settle`
puts money to invoices and keeps what is open on them. Both lock the customer's balance row, which
an act that must look first takes through `lock_customer`; invoices are locked after it, by key.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Max, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from apiary_sales.billing.models import (
    AccountMonth,
    Allocation,
    Entry,
    EntryLine,
    Invoice,
    Payment,
)
from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import balances
from inventory.shared import acts
from inventory.shared.models import BooksLock
from inventory.shared.rows import save_fields
from inventory.stock.models import Supplier

Account = EntryLine.Account


@dataclass(frozen=True)
class BookLine:
    """A signed amount on one account, in cents; money owed names the customer or supplier."""

    account: str
    amount_cents: int
    customer: Customer | None = None
    supplier: Supplier | None = None
    detail: str = ""


class BookLawBroken(Exception):
    """An entry that would not balance: a fault in the program, never in what a person typed."""


def lock_customer(customer: Customer | None) -> None:
    """Lock what a customer owes until the transaction ends; without a customer there is no lock."""
    if customer is not None:
        balances.lock(customer)


def lock_invoices(keys: Iterable[int]) -> dict[int, Invoice]:
    """Lock these invoices, in order of their keys, and return them as they are now."""
    rows = Invoice.objects.select_for_update(no_key=True).filter(pk__in=set(keys)).order_by("pk")
    return {invoice.pk: invoice for invoice in rows}


@acts.act
def enter(
    *,
    kind: str,
    lines: Iterable[BookLine],
    happened_on: date,
    invoice: Invoice | None = None,
    payment: Payment | None = None,
) -> Entry:
    """Write one entry and keep what its customer owes; return it.

    It counts on its day or, where the books are closed on that, on the first open day.
    Lines of 0 are left out. Raises `BookLawBroken` when the lines do not add up to zero.
    """
    lines = [line for line in lines if line.amount_cents]
    total = sum(line.amount_cents for line in lines)
    if total:
        raise BookLawBroken(f"The lines of an entry must add up to zero, not {total}: {lines}")
    entry = Entry.objects.create(
        kind=kind,
        happened_on=happened_on,
        entered_on=BooksLock.objects.counting_day(happened_on),
        invoice=invoice,
        payment=payment,
    )
    EntryLine.objects.bulk_create(
        EntryLine(
            entry=entry,
            account=line.account,
            customer=line.customer,
            supplier=line.supplier,
            detail=line.detail,
            amount_cents=line.amount_cents,
        )
        for line in lines
    )
    for line in lines:
        if line.account == Account.RECEIVABLE and line.customer is not None:
            balances.add(line.customer, line.amount_cents)
    return entry


@acts.act
def enter_opposite(entry: Entry, *, happened_on: date) -> Entry:
    """Enter the lines of an entry with the opposite signs; it stays, and both are nothing."""
    return enter(
        kind=entry.kind,
        lines=[
            BookLine(line.account, -line.amount_cents, line.customer, line.supplier, line.detail)
            for line in entry.lines.select_related("customer", "supplier")
        ],
        happened_on=happened_on,
    )


@acts.act
def settle(
    payment: Payment,
    shares: Iterable[tuple[Invoice, int]],
    *,
    put_on: date | None = None,
    are_own: bool = False,
) -> None:
    """Put so many cents of a payment to each invoice; a negative share takes them off again.

    It counts from today, or from `put_on`, but from no closed day and not before the invoice; what
    is taken off again not before it was put there. Call with the customer locked. Invoices that
    `are_own` were made in the same act, so that nobody else knows of them. Raises `BookLawBroken`
    when an invoice would be paid beyond what is open on it.
    """
    shares = [(invoice, cents) for invoice, cents in shares if cents]
    if are_own:
        locked = {invoice.pk: invoice for invoice, _cents in shares}
    else:
        locked = lock_invoices(invoice.pk for invoice, _cents in shares)
    for invoice, cents in shares:
        now = locked[invoice.pk]
        now.open_cents -= cents
        if not 0 <= now.open_cents <= now.total_cents:
            raise BookLawBroken(f"{cents} put to {now}, which would leave {now.open_cents} open.")
        save_fields([now], "open_cents")
        invoice.open_cents = now.open_cents
    put_on = put_on or timezone.localdate()
    put_last = _put_last(payment, [invoice for invoice, cents in shares if cents < 0])
    Allocation.objects.bulk_create(
        Allocation(
            payment=payment,
            invoice=locked[invoice.pk],
            amount_cents=cents,
            put_on=BooksLock.objects.counting_day(
                max(put_on, locked[invoice.pk].supplied_on, put_last.get(invoice.pk, put_on))
            ),
        )
        for invoice, cents in shares
    )


def _put_last(payment: Payment, invoices: list[Invoice]) -> dict[int, date]:
    """Return from which day money of a payment, or of the one it undoes, counts last on each."""
    if not invoices:
        return {}
    put = Allocation.objects.filter(
        payment__in=[payment.pk, payment.reverses_id], invoice__in=invoices
    )
    return dict(put.order_by().values_list("invoice").annotate(Max("put_on")))


@acts.act
def credit(invoice: Invoice, cents: int) -> None:
    """Take so much off an invoice that a credit note takes back, in whole or in part.

    First the open amount is reduced. If the invoice was paid beyond that, the payments are taken
    off it, the last one first, and stay on the customer's account.
    """
    [now] = lock_invoices([invoice.pk]).values()
    beyond_cents = cents - now.open_cents
    for payment, put_cents in reversed(_paid_on(invoice)):
        if beyond_cents <= 0:
            break
        share_cents = min(beyond_cents, put_cents)
        settle(payment, [(now, -share_cents)])
        beyond_cents -= share_cents
    invoice.open_cents = now.open_cents - cents
    Invoice.objects.filter(pk=invoice.pk).update(open_cents=invoice.open_cents)


@acts.act
def adjust(invoice: Invoice, cents: int) -> None:
    """Lower what is to pay on an invoice by an adjustment, or raise it by its undoing."""
    [now] = lock_invoices([invoice.pk]).values()
    invoice.open_cents = now.open_cents - cents
    if not 0 <= invoice.open_cents <= now.total_cents:
        raise BookLawBroken(f"{cents} taken off {now}, of which {now.open_cents} was open.")
    Invoice.objects.filter(pk=invoice.pk).update(open_cents=invoice.open_cents)


def _paid_on(invoice: Invoice) -> list[tuple[Payment, int]]:
    """Return how much of each payment is put to an invoice, oldest first."""
    paid = (
        Allocation.objects.filter(invoice=invoice)
        # A payment and its undoing are grouped together, so that they cancel out to 0.
        .values(root=Coalesce("payment__reverses", "payment"))
        .order_by("root")
        .annotate(cents=Sum("amount_cents"))
    )
    shares = {row["root"]: row["cents"] for row in paid if row["cents"]}
    payments = Payment.objects.filter(pk__in=shares).order_by("pk")
    return [(payment, shares[payment.pk]) for payment in payments]


def balance_cents(account: str, on: date) -> int:
    """Return what an account has at the end of a day."""
    return AccountMonth.objects.balance_cents(account, before=on + timedelta(days=1))


def there_cents(account: str, on: date) -> int:
    """Return the least that an account has at the end of a day or of any later one.

    More than that can't have left it on this day.
    """
    left = least = balance_cents(account, on)
    lines = EntryLine.objects.filter(account=account, entry__entered_on__gt=on)
    later = lines.order_by("entry__entered_on")
    for _day, cents in later.values_list("entry__entered_on").annotate(Sum("amount_cents")):
        left += cents
        least = min(least, left)
    return max(0, least)
