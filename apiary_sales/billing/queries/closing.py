"""Closed books: what counts later than its day, and proof that nothing slipped in."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from django.db.models import F, Q, QuerySet, Window
from django.db.models.functions import Coalesce, Lag, TruncDate
from django.utils import timezone

from apiary_sales.billing.models import Entry, Invoice
from inventory.shared.queries import books_lock
from inventory.stock.models import Posting


def late_entries(since: date | None = None) -> QuerySet[Entry]:
    """Return the entries of money that count later than their day, newest first."""
    # What they are about is looked up apart: SQLite would begin with the customers.
    found = Entry.objects.exclude(happened_on=F("entered_on")).prefetch_related(
        "invoice", "payment__customer"
    )
    if since is not None:
        found = found.filter(entered_on__gte=since)
    return found.order_by("-entered_on", "-id")


def late_postings(since: date | None = None) -> QuerySet[Posting]:
    """Return the entries of stock that count later than their day, newest first."""
    found = Posting.objects.filter(counts_on__isnull=False).prefetch_related("recorded_by")
    if since is not None:
        found = found.filter(counts_on__gte=since)
    return found.order_by("-counts_on", "-id")


def faults() -> Iterator[str]:
    """Yield one sentence for each entry on a closed day and each number out of order."""
    for closed in books_lock.periods():
        yield from _slipped_in(closed)
    yield from _numbers_out_of_order()


def _slipped_in(closed: books_lock.Closed) -> Iterator[str]:
    during = Q(entered_at__gt=closed.since)
    if closed.to is not None:
        during &= Q(entered_at__lte=closed.to)
    for entry in (
        Entry.objects.filter(during, entered_on__lte=closed.until).order_by("id").iterator()
    ):
        yield f"Entry {entry.pk} counts on {entry.entered_on}, which was closed when it was made."
    during = Q(recorded_at__gt=closed.since)
    if closed.to is not None:
        during &= Q(recorded_at__lte=closed.to)
    day = Coalesce("counts_on", TruncDate("occurred_at"))
    found = Posting.objects.filter(during).annotate(day=day).filter(day__lte=closed.until)
    for posting in found.order_by("id").iterator():
        yield f"Posting {posting.pk} counts on {posting.day}, which was closed when it was made."


def _numbers_out_of_order() -> Iterator[str]:
    """Numbers run with dates; receipts written before they did are dated by their sale.

    Invoices from the books before keep their own numbers, and are entered in any order. One that is
    dated as it was entered has the day of the machine's clock, which may have been set back.
    """
    receipts_of_sales = Q(series__startswith=Invoice.RECEIPT_PREFIX, issued_on=F("supplied_on"))
    in_order: dict[str, Any] = {"partition_by": "series", "order_by": "number"}
    for key, before in (
        Invoice.objects.exclude(series=Invoice.OPENING_SERIES)
        .exclude(receipts_of_sales)
        .order_by("series", "number")
        .values_list("id")
        .annotate(
            before=Window(Lag("id"), **in_order), before_day=Window(Lag("issued_on"), **in_order)
        )
        .filter(issued_on__lt=F("before_day"))
        .values_list("id", "before")
        .iterator()
    ):
        bill = Invoice.objects.select_related("entry").get(pk=key)
        if bill.issued_on == timezone.localdate(bill.entry.entered_at):
            continue
        earlier = Invoice.objects.get(pk=before)
        yield f"{bill} is dated {bill.issued_on}, before {earlier} of {earlier.issued_on}."
