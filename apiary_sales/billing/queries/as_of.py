"""What was owed on a day, by what is known now or was known at a moment.

An entry counts on its day, or on the first open day where the books were closed on that. So a day
that is closed answers as it did when it was closed, whatever is entered later.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, TypedDict

from django.db.models import F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from apiary_sales.billing.models import Adjustment, Allocation, Entry, EntryLine, Invoice
from apiary_sales.billing.queries.money import Account, Receivables
from apiary_sales.customers.models import Customer, CustomerBalance

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations


@dataclass(frozen=True)
class AsOf:
    """A day, and the moment up to which entries are known; None for all that are known now."""

    day: date
    known_at: datetime | None = None

    def entries(self, prefix: str = "entry__") -> Q:
        """Return the filter of entries that count, seen through `prefix`."""
        found = Q(**{f"{prefix}entered_on__lte": self.day})
        if self.known_at is not None:
            found &= Q(**{f"{prefix}entered_at__lte": self.known_at})
        return found

    def later_entries(self, prefix: str = "entry__") -> Q:
        """Return the filter of entries that do not count, seen through `prefix`."""
        found = Q(**{f"{prefix}entered_on__gt": self.day})
        if self.known_at is not None:
            found |= Q(**{f"{prefix}entered_at__gt": self.known_at})
        return found

    def allocations(self) -> Q:
        """Return the filter of money that was put to bills by then."""
        found = Q(put_on__lte=self.day)
        if self.known_at is not None:
            found &= Q(put_at__lte=self.known_at) | Q(put_at=None)
        return found

    def later_allocations(self) -> Q:
        """Return the filter of money that was put to bills later."""
        found = Q(put_on__gt=self.day)
        if self.known_at is not None:
            found |= Q(put_at__gt=self.known_at)
        return found


class LeftToPay(TypedDict):
    left_cents: int


def open_invoices(as_of: AsOf) -> "QuerySet[WithAnnotations[Invoice, LeftToPay]]":
    """Return the bills that had something left to pay, with `left_cents`, what was due first first.

    Stand receipts without a customer are left out: they belong to nobody's account.
    """
    credited = _sum(Invoice.objects.filter(as_of.entries(), credits=OuterRef("pk")), "credits")
    put = _sum(Allocation.objects.filter(as_of.allocations(), invoice=OuterRef("pk")), "invoice")
    adjusted = _sum(
        Adjustment.objects.filter(as_of.entries(), invoice=OuterRef("pk")).annotate(
            amount_cents=F("net_cents") + F("tax_cents")
        ),
        "invoice",
    )
    # What is paid today and was changed by nothing since was paid then: other bills are not read.
    changed = (
        Allocation.objects.filter(as_of.later_allocations()).order_by().values("invoice"),
        Adjustment.objects.filter(as_of.later_entries()).order_by().values("invoice"),
        # From the entries: SQLite would look at every credit note.
        Entry.objects.filter(as_of.later_entries(""), kind=Entry.Kind.CREDIT_NOTE)
        .order_by()
        .values("invoice__credits"),
    )
    may_be_open = Invoice.objects.open().order_by().values("pk").union(*changed)
    return (
        Invoice.objects.filter(as_of.entries(), credits=None, customer__isnull=False)
        .filter(pk__in=may_be_open)
        .annotate(left_cents=F("total_cents") + credited - put - adjusted)
        .filter(left_cents__gt=0)
        .select_related("customer")
        .order_by("due_on", "id")
    )


def receivables(as_of: AsOf) -> Receivables:
    """Return what each customer owed, by how long it was overdue, and what was on account."""
    # What is owed now, less what was entered since: most customers owe nothing, then as now.
    owed = Counter(dict(CustomerBalance.objects.not_zero().values_list("customer", "owed_cents")))
    later = Entry.objects.filter(as_of.later_entries("")).order_by().values("pk")
    since = EntryLine.objects.filter(
        entry__in=later, account=EntryLine.Account.RECEIVABLE, customer__isnull=False
    ).order_by()
    for customer, cents in since.values_list("customer").annotate(Sum("amount_cents")):
        owed[customer or 0] -= cents
    left = list(open_invoices(as_of))
    customers = Customer.objects.in_bulk(
        {pk for pk, cents in owed.items() if cents} | {invoice.customer_id for invoice in left}
    )
    accounts = {pk: Account(customer, owed[pk]) for pk, customer in customers.items()}
    for invoice in left:
        accounts[invoice.customer_id or 0].add(
            due_on=invoice.due_on, cents=invoice.left_cents, on=as_of.day
        )
    return Receivables.of(accounts.values())


def account(customer: Customer, as_of: AsOf) -> Account:
    """Return what one customer owed, by how long it was overdue, and what was on account."""
    found = Account(customer, _owed_cents(customer, as_of))
    for invoice in open_invoices(as_of).filter(customer=customer):
        found.add(due_on=invoice.due_on, cents=invoice.left_cents, on=as_of.day)
    return found


def _owed_cents(customer: Customer, as_of: AsOf) -> int:
    """Return what is owed now, less what was entered since: few entries of a long history."""
    lines = EntryLine.objects.filter(account=EntryLine.Account.RECEIVABLE, customer=customer)
    if as_of.known_at is None:
        later = Entry.objects.filter(as_of.later_entries(""))
        lines = lines.filter(entry__gte=later.first_number())
    since_cents: int = lines.filter(as_of.later_entries()).aggregate(
        cents=Coalesce(Sum("amount_cents"), 0)
    )["cents"]
    return CustomerBalance.objects.owed_cents(customer) - since_cents


def _sum(rows: QuerySet[Any], by: str) -> Coalesce:
    amount = "total_cents" if rows.model is Invoice else "amount_cents"
    sums = rows.order_by().values(by).annotate(cents=Sum(amount)).values("cents")
    return Coalesce(Subquery(sums), 0)
