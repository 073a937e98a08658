"""Closed books: what counts later than its day, and proof that nothing slipped in."""

from collections.abc import Iterator
from datetime import date

from django.db.models import F, Q, QuerySet
from django.db.models.functions import Coalesce, TruncDate

from apiary_sales.billing.models import Entry, Invoice
from inventory.shared.queries import books_lock
from inventory.stock.models import Posting


def late_entries(since: date | None = None) -> QuerySet[Entry]:
    """Return the entries of money that count later than their day, newest first."""
    found = Entry.objects.exclude(happened_on=F("entered_on")).select_related(
        "invoice", "payment__customer"
    )
    if since is not None:
        found = found.filter(entered_on__gte=since)
    return found.order_by("-id")


def late_postings(since: date | None = None) -> QuerySet[Posting]:
    """Return the entries of stock that count later than their day, newest first."""
    found = Posting.objects.filter(counts_on__isnull=False).select_related("recorded_by")
    if since is not None:
        found = found.filter(counts_on__gte=since)
    return found.order_by("-id")


def faults() -> Iterator[str]:
    """Yield one sentence for each entry on a closed day and each number out of order."""
    for closed in books_lock.periods():
        yield from _slipped_in(closed)
    yield from _numbers_out_of_order()


def _slipped_in(closed: books_lock.Closed) -> Iterator[str]:
    during = Q(entered_at__gt=closed.since)
    if closed.to is not None:
        during &= Q(entered_at__lte=closed.to)
    for entry in Entry.objects.filter(during, entered_on__lte=closed.until).order_by("id"):
        yield f"Entry {entry.pk} counts on {entry.entered_on}, which was closed when it was made."
    during = Q(recorded_at__gt=closed.since)
    if closed.to is not None:
        during &= Q(recorded_at__lte=closed.to)
    day = Coalesce("counts_on", TruncDate("occurred_at"))
    found = Posting.objects.filter(during).annotate(day=day).filter(day__lte=closed.until)
    for posting in found.order_by("id"):
        yield f"Posting {posting.pk} counts on {posting.day}, which was closed when it was made."


def _numbers_out_of_order() -> Iterator[str]:
    """Numbers run with dates; receipts written before they did are dated by their sale.

    Invoices from the books before keep their own numbers, and are entered in any order.
    """
    before: Invoice | None = None
    numbered = Invoice.objects.exclude(series=Invoice.OPENING_SERIES).select_related("entry")
    for bill in numbered.order_by("series", "number").iterator():
        if bill.is_receipt and bill.issued_on == bill.supplied_on:
            continue
        if before and before.series == bill.series and bill.issued_on < before.issued_on:
            yield f"{bill} is dated {bill.issued_on}, before {before} of {before.issued_on}."
        before = bill
