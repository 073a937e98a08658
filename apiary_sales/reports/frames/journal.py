"""The journal, the trial balance, and the lists of invoices, payments and tax."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from django.db.models import F, Min, Q, QuerySet, Sum
from django.utils.translation import gettext as _

from apiary_sales.billing.models import AdjustmentTax, Invoice, InvoiceLineTax, Payment
from apiary_sales.billing.queries.journal import Journal, JournalFilters
from apiary_sales.reports.frames.listing import Listing
from apiary_sales.reports.frames.make import TEXT, WHOLE, frame_of
from inventory.shared import days

if TYPE_CHECKING:
    import pandas as pd

LINE = {
    "document": TEXT,
    "counts_on": TEXT,
    "happened_on": TEXT,
    "account_key": TEXT,
    "number": TEXT,
    "account": TEXT,
    "debit_cents": WHOLE,
    "credit_cents": WHOLE,
    "who": TEXT,
    "note": TEXT,
    "url": TEXT,
    "without_cost": WHOLE,
}
BALANCE = {
    "account": TEXT,
    "account_key": TEXT,
    "kind": TEXT,
    "opening_cents": WHOLE,
    "debit_cents": WHOLE,
    "credit_cents": WHOLE,
    "closing_cents": WHOLE,
    "without_cost": WHOLE,
}
INVOICE = {
    "document": TEXT,
    "key": WHOLE,
    "kind": TEXT,
    "issued_on": TEXT,
    "counts_on": TEXT,
    "customer": TEXT,
    "net_cents": WHOLE,
    "tax_cents": WHOLE,
    "rounding_cents": WHOLE,
    "opening_cents": WHOLE,
    "total_cents": WHOLE,
    "open_cents": WHOLE,
}
PAYMENT = {
    "key": WHOLE,
    "counts_on": TEXT,
    "received_on": TEXT,
    "customer": TEXT,
    "method": TEXT,
    "reference": TEXT,
    "amount_cents": WHOLE,
    "who": TEXT,
}
TAX = {
    "document": TEXT,
    "key": WHOLE,
    "counts_on": TEXT,
    "supplied_on": TEXT,
    "customer": TEXT,
    "jurisdiction": TEXT,
    "tax": TEXT,
    "percent": TEXT,
    "base_cents": WHOLE,
    "tax_cents": WHOLE,
}


@dataclass(frozen=True)
class BookFilters:
    """The days that count, one account or all, and the day at whose end entries were known."""

    since: date | None = None
    until: date | None = None
    account: str = ""
    known_on: date | None = None

    @property
    def known_at(self) -> datetime | None:
        return days.end(self.known_on) if self.known_on else None

    @property
    def of_journal(self) -> JournalFilters:
        return JournalFilters(self.since, self.until, self.account, self.known_at)


def lines(filters: BookFilters) -> pd.DataFrame:
    """Return one row for each account that an entry or posting moved, by the day it counts on.

    `without_cost` of the first row is how many lines of stock have no cost yet.
    """
    return frame_of(listed_lines(filters).rows(), LINE)


def listed_lines(filters: BookFilters) -> Listing:
    """Return the same rows as a list; what an entry or posting is, is read with its rows."""
    book = Journal(filters.of_journal)
    moves = book.moves

    def read(places: Sequence[int]) -> Iterator[tuple[Any, ...]]:
        told = book.lines([moves[at] for at in places])
        for at, line in zip(places, told, strict=True):
            yield (
                line.document,
                line.counts_on,
                line.happened_on,
                line.account.key,
                line.account.number,
                str(line.account.name),
                line.debit_cents or None,
                line.credit_cents or None,
                line.who,
                line.note,
                line.url or "",
                0 if at else book.lines_without_cost,
            )

    debit = sum(cents for cents in moves.cents if cents > 0)
    credit = -sum(cents for cents in moves.cents if cents < 0)
    sums = {
        "debit_cents": debit or None,
        "credit_cents": credit or None,
        "without_cost": book.lines_without_cost if moves else None,
    }
    return Listing(range(len(moves)), read, [*LINE], sums)


def trial_balance(filters: BookFilters) -> pd.DataFrame:
    """Return one row for each account that something is on, in the order of the chart."""
    book = Journal(filters.of_journal)
    without = [book.lines_without_cost]
    return frame_of(
        (
            (
                row.account.title,
                row.account.key,
                row.account.kind,
                row.opening_cents,
                row.debit_cents,
                row.credit_cents,
                row.closing_cents,
                without.pop() if without else 0,
            )
            for row in book.trial_balance()
        ),
        BALANCE,
    )


def invoices(filters: BookFilters) -> pd.DataFrame:
    """Return one row for each invoice, receipt and credit note that counts on these days.

    What is left of an invoice from the books before is no sale of these books: it has no net.
    """
    return frame_of(listed_invoices(filters).rows(), INVOICE)


def listed_invoices(filters: BookFilters) -> Listing:
    """Return the same rows as a list."""
    found = _counting(Invoice.objects.all(), filters)
    is_own = Q(opening_number="")
    sums = found.order_by().aggregate(
        net_cents=Sum("net_cents", filter=is_own),
        tax_cents=Sum("tax_cents", filter=is_own),
        rounding_cents=Sum("rounding_cents"),
        opening_cents=Sum("total_cents", filter=~is_own),
        total_cents=Sum("total_cents"),
        open_cents=Sum("open_cents"),
    )

    def row(invoice: Invoice) -> tuple[Any, ...]:
        return (
            str(invoice),
            invoice.pk,
            invoice.entry.kind,
            invoice.issued_on,
            invoice.entry.entered_on,
            _buyer(invoice),
            None if invoice.is_opening else invoice.net_cents,
            None if invoice.is_opening else invoice.tax_cents,
            invoice.rounding_cents,
            invoice.total_cents if invoice.is_opening else None,
            invoice.total_cents,
            invoice.open_cents,
        )

    read = Invoice.objects.select_related("customer", "entry")
    return _listing(found, read, row, INVOICE, sums)


def payments(filters: BookFilters) -> pd.DataFrame:
    """Return one row for each payment, given back and undone ones below zero."""
    return frame_of(listed_payments(filters).rows(), PAYMENT)


def listed_payments(filters: BookFilters) -> Listing:
    """Return the same rows as a list."""
    found = _counting(Payment.objects.all(), filters)

    def row(payment: Payment) -> tuple[Any, ...]:
        return (
            payment.pk,
            payment.entry.entered_on,
            payment.received_on,
            payment.customer.name if payment.customer else _("Buyers at the stand"),
            payment.method,
            payment.reference,
            payment.amount_cents,
            payment.received_by.display_name,
        )

    read = Payment.objects.select_related("customer", "entry", "received_by")
    sums = found.order_by().aggregate(amount_cents=Sum("amount_cents"))
    return _listing(found, read, row, PAYMENT, sums)


def _listing(
    found: QuerySet[Any],
    read: QuerySet[Any],
    row: Callable[[Any], tuple[Any, ...]],
    columns: Iterable[str],
    sums: Mapping[str, int | None],
) -> Listing:
    """Return a list of documents by their keys, which are all that is read of them at once."""

    def rows_of(keys: Sequence[int]) -> Iterator[tuple[Any, ...]]:
        there = read.in_bulk(keys)
        return (row(there[key]) for key in keys)

    keys = array("q", found.values_list("pk", flat=True).iterator())
    return Listing(keys, rows_of, [*columns], sums)


def tax(filters: BookFilters) -> pd.DataFrame:
    """Return one row for each document and tax on it, at each rate; credits are below zero.

    Discounts and write-offs that lower a tax are rows of their bill, on the day they count.
    """
    of_invoice, entry = "line__invoice__", "line__invoice__entry__"
    found = (
        _counting(InvoiceLineTax.objects.all(), filters, entry)
        .order_by()
        .values_list(
            *(f"{of_invoice}{name}" for name in ("opening_number", "series", "number", "pk")),
            *(f"{entry}entered_on", f"{of_invoice}supplied_on", f"{of_invoice}customer__name"),
            *("jurisdiction", "name", "percent"),
        )
        .annotate(Sum("base_cents"), Sum("tax_cents"), first=Min("id"))
        .order_by(f"{entry}entered_on", "line__invoice", "first")
    )
    rows = [
        (
            str(Invoice(opening_number=opening, series=series, number=number)),
            *(key, counts_on, supplied_on, buyer or _("Buyers at the stand")),
            *(jurisdiction, name, f"{percent.normalize():f}", base_cents, tax_cents),
        )
        for opening, series, number, key, counts_on, supplied_on, buyer, *of_tax in found.iterator()
        for jurisdiction, name, percent, base_cents, tax_cents, _first in [of_tax]
    ]
    lowered = _counting(AdjustmentTax.objects.all(), filters, "adjustment__entry__").select_related(
        "adjustment__invoice__customer", "adjustment__entry"
    )
    rows += [
        (
            *_tax_of(row, row.adjustment.invoice, row.adjustment.entry.entered_on),
            -row.base_cents,
            -row.tax_cents,
        )
        for row in lowered
    ]
    counts_on = list(TAX).index("counts_on")
    return frame_of(sorted(rows, key=lambda row: row[counts_on]), TAX)


def _tax_of(row: AdjustmentTax, invoice: Invoice, counts_on: date) -> tuple[Any, ...]:
    """Return a tax on a bill, as the columns of the list have it before the amounts."""
    return (
        str(invoice),
        invoice.pk,
        counts_on,
        invoice.supplied_on,
        _buyer(invoice),
        row.jurisdiction,
        row.name,
        f"{row.percent.normalize():f}",
    )


def _counting(rows: QuerySet[Any], filters: BookFilters, entry: str = "entry__") -> QuerySet[Any]:
    wanted: dict[str, Any] = {}
    if filters.since:
        wanted[f"{entry}entered_on__gte"] = filters.since
    if filters.until:
        wanted[f"{entry}entered_on__lte"] = filters.until
    if filters.known_at:
        wanted[f"{entry}entered_at__lte"] = filters.known_at
    return rows.filter(**wanted).order_by(F(f"{entry}entered_on"), "id")


def _buyer(invoice: Invoice) -> str:
    return invoice.customer.name if invoice.customer else _("Buyers at the stand")
