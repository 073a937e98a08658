"""Who owes what, since when; what was billed and received; the account of one customer.

Everything is read from bills, payments and the balances kept with them, in a constant number of
round trips.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING, TypedDict

from django.db.models import (
    Case,
    Count,
    F,
    Min,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
    When,
)
from django.db.models.functions import Coalesce
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.billing.models import (
    Adjustment,
    Invoice,
    Payment,
)
from apiary_sales.customers.models import Customer, CustomerBalance
from apiary_sales.orders.models import FulfilmentLine, Order
from inventory.shared.literals import ZERO
from inventory.shared.tags import Tag

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

# How long overdue, by days: the usual columns of a list of debts.
BANDS = (
    ("current", gettext_lazy("not due yet")),
    ("to_30", gettext_lazy("1–30 days")),
    ("to_60", gettext_lazy("31–60 days")),
    ("to_90", gettext_lazy("61–90 days")),
    ("over_90", gettext_lazy("over 90 days")),
)


@dataclass
class Aging:
    """What is left to pay, by how long it is overdue, in cents."""

    current: int = 0
    to_30: int = 0
    to_60: int = 0
    to_90: int = 0
    over_90: int = 0

    def add(self, *, due_on: date, cents: int, on: date) -> None:
        name = band(due_on, on)
        setattr(self, name, getattr(self, name) + cents)

    @property
    def total(self) -> int:
        return sum(cents for _label, cents in self.columns)

    @property
    def overdue(self) -> int:
        return self.total - self.current

    @property
    def columns(self) -> list[tuple[str | Promise, int]]:
        return [(label, getattr(self, name)) for name, label in BANDS]


def band(due_on: date, on: date) -> str:
    """Return the column of a debt: due today is not overdue; a day later is its first day.

    >>> band(date(2026, 9, 10), date(2026, 9, 10)), band(date(2026, 9, 9), date(2026, 9, 10))
    ('current', 'to_30')
    """
    days = (on - due_on).days
    if days <= 0:
        return "current"
    if days <= 30:
        return "to_30"
    if days <= 60:
        return "to_60"
    return "to_90" if days <= 90 else "over_90"


@dataclass
class Account:
    """What one customer owes: open bills by age, less money on account."""

    customer: Customer
    owed_cents: int = 0
    oldest_due_on: date | None = None
    aging: Aging = field(default_factory=Aging)

    def add(self, *, due_on: date, cents: int, on: date) -> None:
        """Add what is left to pay of a bill, by its age on a day."""
        self.aging.add(due_on=due_on, cents=cents, on=on)
        self.oldest_due_on = min(self.oldest_due_on or due_on, due_on)

    @property
    def on_account_cents(self) -> int:
        """Money paid that no bill has used yet."""
        return self.aging.total - self.owed_cents


@dataclass(frozen=True)
class Receivables:
    """All customers with something open or on account, the longest overdue first."""

    accounts: list[Account]

    @classmethod
    def of(cls, accounts: Iterable[Account]) -> "Receivables":
        """Return these accounts in order, without those on which nothing is open."""
        found = [account for account in accounts if account.owed_cents or account.aging.total]
        found.sort(key=lambda account: (account.oldest_due_on or date.max, account.customer.name))
        return cls(found)

    @property
    def aging(self) -> Aging:
        names = [name for name, _label in BANDS]
        return Aging(
            *(sum(getattr(account.aging, name) for account in self.accounts) for name in names)
        )

    @property
    def owed_cents(self) -> int:
        return sum(account.owed_cents for account in self.accounts)

    @property
    def on_account_cents(self) -> int:
        return sum(account.on_account_cents for account in self.accounts)


@dataclass(frozen=True)
class Month:
    """What was billed (less credit notes) and received (less given back) in a month, in cents."""

    first_day: date
    invoiced_cents: int
    received_cents: int


def owing(on: date) -> Receivables:
    """Return what each customer owes on a day, in two queries."""
    # Ordered as the index of open bills is, which SQLite takes then.
    open_invoices = Invoice.objects.open().filter(customer__isnull=False).order_by("due_on")
    # What is paid may come to a balance of zero while a bill is open: the money is on account.
    not_zero = CustomerBalance.objects.not_zero().values("customer")
    told = not_zero.union(open_invoices.order_by().values("customer"))
    accounts = {
        balance.customer_id: Account(balance.customer, balance.owed_cents)
        for balance in CustomerBalance.objects.filter(pk__in=told).select_related("customer")
    }
    for customer, due_on, cents in open_invoices.values_list("customer", "due_on", "open_cents"):
        accounts[customer].add(due_on=due_on, cents=cents, on=on)
    return Receivables.of(accounts.values())


def account_of(customer: Customer, on: date) -> Account:
    """Return what one customer owes on a day, in two queries."""
    balance = CustomerBalance.objects.filter(customer=customer).first()
    account = Account(customer, balance.owed_cents if balance else 0)
    for invoice in Invoice.objects.open_of(customer):
        account.add(due_on=invoice.due_on, cents=invoice.open_cents, on=on)
    return account


def month_of(day: date) -> Month:
    """Return what was billed and received in the month of a day, stand sales included."""
    first = day.replace(day=1)
    next_first = (first + timedelta(days=32)).replace(day=1)
    invoiced = Invoice.objects.filter(
        issued_on__gte=first, issued_on__lt=next_first, opening_number=""
    )
    received = Payment.objects.filter(received_on__gte=first, received_on__lt=next_first).exclude(
        method=Payment.Method.OPENING
    )
    return Month(
        first,
        invoiced.aggregate(cents=Coalesce(Sum("total_cents"), 0))["cents"],
        received.aggregate(cents=Coalesce(Sum("amount_cents"), 0))["cents"],
    )


def overdue_invoices(on: date) -> QuerySet[Invoice]:
    """Return what should have been paid by a day, the longest overdue first."""
    return (
        Invoice.objects.open()
        .filter(due_on__lt=on)
        .select_related("customer", "order")
        .order_by("due_on", "id")
    )


def orders_to_invoice() -> QuerySet[Order]:
    """Return orders with goods handed over that no bill shows, with `to_invoice_cents`."""
    unbilled = Q(
        fulfilments__is_taken_back=False,
        fulfilments__lines__billed_cents__isnull=True,
        fulfilments__lines__isnull=False,
    )
    return (
        Order.objects.filter(pk__in=FulfilmentLine.objects.unbilled().values("fulfilment__order"))
        .select_related("customer")
        .annotate(
            to_invoice_cents=Sum("fulfilments__lines__amount_cents", filter=unbilled),
            handed_over_on=Min("fulfilments__filled_on", filter=unbilled),
        )
        .order_by("handed_over_on", "id")
    )


class CreditedOrNot(TypedDict):
    is_credited: bool
    credited_cents: int


def invoices(
    *,
    state: str = "",
    text: str = "",
    customer: Customer | None = None,
    since: date | None = None,
    until: date | None = None,
    on: date,
) -> "QuerySet[WithAnnotations[Invoice, CreditedOrNot]]":
    """Return bills, newest first: `state` is open, overdue, paid, credit (notes) or stand.

    Without a state stand receipts are left out, because they are paid at once and many. `text` is
    looked for in the buyer's name, the order's number and the bill's own.
    """
    found = Invoice.objects.select_related("customer", "order", "credits").annotate(
        credited_cents=Coalesce(
            Subquery(
                Invoice.objects.filter(credits=OuterRef("pk"))
                .order_by()
                .values("credits")
                .annotate(cents=Sum("total_cents"))
                .values("cents")
            ),
            0,
        ),
        is_credited=Case(
            When(credits=None, credited_cents__lt=0, credited_cents=-F("total_cents"), then=True),
            default=False,
        ),
    )
    states = {
        "open": Q(open_cents__gt=ZERO),
        "overdue": Q(open_cents__gt=ZERO, due_on__lt=on),
        "paid": Q(open_cents=0, credits__isnull=True, is_credited=False) & ~_RECEIPT,
        "credit": Q(credits__isnull=False),
        "stand": _RECEIPT,
    }
    found = found.filter(states.get(state, ~_RECEIPT))
    if customer is not None:
        found = found.filter(customer=customer)
    if since is not None:
        found = found.filter(issued_on__gte=since)
    if until is not None:
        found = found.filter(issued_on__lte=until)
    if text := text.strip():
        found = found.filter(_named(text))
    return found.order_by("-issued_on", "-id")


def state_tag(invoice: Invoice, *, on: date, credited_cents: int) -> Tag:
    """Return where a bill stands on a day: taken back, paid, overdue or to be paid.

    `credited_cents` is what its credit notes take off it.
    """
    if invoice.is_credit_note:
        return Tag(_("credit note"), "info")
    if credited_cents and credited_cents == invoice.total_cents:
        return Tag(_("credited"), "info")
    if not invoice.open_cents:
        # Not paid, but nothing is to be paid any more.
        if invoice.is_opening and not invoice.allocations.exists():
            return Tag(_("settled"), "info")
        return Tag(_("paid"), "good")
    if invoice.due_on < on:
        return Tag(_("overdue"), "bad")
    if invoice.open_cents != invoice.total_cents:
        if credited_cents == invoice.total_cents - invoice.open_cents:
            return Tag(_("partly credited"), "warn")
        return Tag(_("partly paid"), "warn")
    return Tag(_("to be paid"))


def with_states(
    found: "Iterable[WithAnnotations[Invoice, CreditedOrNot]]", *, on: date
) -> list[tuple[Invoice, Tag]]:
    """Return bills that `invoices` found, each with where it stands on a day."""
    return [
        (invoice, state_tag(invoice, on=on, credited_cents=-invoice.credited_cents))
        for invoice in found
    ]


_RECEIPT = Q(series__startswith=Invoice.RECEIPT_PREFIX)


def _named(text: str) -> Q:
    found = Q(customer__name__icontains=text) | Q(order__number__iexact=text)
    found |= Q(order__customer_reference__icontains=text) | Q(opening_number__icontains=text)
    # A number said on the telephone may come without its letter.
    found |= Q(order__number__iendswith=text) if text[:2].isdecimal() else Q()
    series, _dash, number = text.rpartition("-")
    if series and number.isdecimal() and len(number) < 10:
        named = Q(series__iendswith=series) if series.isdecimal() else Q(series__iexact=series)
        found |= named & Q(number=int(number))
    return found


@dataclass(frozen=True)
class Settlement:
    """A payment and what of it stands against one bill, in cents."""

    payment: Payment
    cents: int


def settled_by(invoice: Invoice) -> list[Settlement]:
    """Return the payments put to a bill, oldest first; those taken off again are left out.

    A payment that was undone is taken off by the payment that undoes it.
    """
    put: dict[Payment, int] = {}
    for row in invoice.allocations.select_related("payment__reverses"):
        payment = row.payment.reverses or row.payment
        put[payment] = put.get(payment, 0) + row.amount_cents
    oldest_first = sorted(put, key=lambda payment: (payment.received_on, payment.pk))
    return [Settlement(payment, put[payment]) for payment in oldest_first if put[payment]]


def adjusted_by(invoice: Invoice) -> list[Adjustment]:
    """Return what was taken off a bill without money or goods and not undone, oldest first."""
    found = Adjustment.objects.filter(invoice=invoice, reverses=None, reversed_by__reverses=None)
    return list(found.order_by("id"))


def payments_list(
    customer: Customer | None = None,
    *,
    text: str = "",
    method: str = "",
    first: date | None = None,
    last: date | None = None,
) -> QuerySet[Payment]:
    """Return payments, newest first, with `left_cents` not put to any bill.

    Stand receipts without a customer are settled at the counter and left out. `text` is a part of
    the customer's name or of the reference, which is the number of a check.
    """
    # Customers and who took the money are looked up apart: SQLite would begin with those, and sort
    # all payments for the newest of them.
    found = Payment.objects.select_related("reversed_by", "reverses").prefetch_related(
        "customer", "received_by"
    )
    found = found.filter(customer__isnull=False)
    if customer is not None:
        found = found.filter(customer=customer)
    if text:
        found = found.filter(Q(customer__name__icontains=text) | Q(reference__icontains=text))
    if method:
        found = found.filter(method=method)
    if first is not None:
        found = found.filter(received_on__gte=first)
    if last is not None:
        found = found.filter(received_on__lte=last)
    return found.with_left().order_by("-received_on", "-id")


def prepayments(order: Order) -> QuerySet[Payment]:
    """Return what was paid for an order, oldest first, with `left_cents` that no bill has used."""
    return (
        Payment.objects.filter(order=order, reverses=None, reversed_by__reverses=None)
        .with_left()
        .order_by("id")
    )


def adjustments() -> QuerySet[Adjustment]:
    """Return what was taken off bills without money or goods, newest first."""
    return Adjustment.objects.select_related(
        "customer", "invoice", "made_by", "reverses", "reversed_by"
    ).order_by("-id")


def counts(on: date) -> dict[str, int]:
    """Return how many bills are open and how many of them overdue, in one query."""
    return Invoice.objects.open().aggregate(
        open=Count("id"), overdue=Count("id", filter=Q(due_on__lt=on))
    )
