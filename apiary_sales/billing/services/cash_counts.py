"""Count all cash at the end of a day, and post what is over or short.

Drawers of stands are part of it; `stand_days` says how their own counts agree with this one.
"""

from datetime import date

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import CashCount, Entry, StandDayClose, StandLateCash
from apiary_sales.billing.services import book, undone_documents
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.billing.services.payments import AMOUNT_CENTS_MAX
from inventory.shared import words
from inventory.shared.errors import BadValue, CannotReverse, Problems
from inventory.shared.people import Person
from inventory.shared.services import books_lock
from inventory.shared.services.repeats import refuse_repeat

# The expense that cash over or short is entered as.
DETAIL = "cash over or short"


@transaction.atomic
def count(
    *,
    counted_cents: int,
    counted_by: Person,
    key: str,
    counted_on: date | None = None,
    note: str = "",
) -> CashCount:
    """Record the cash that is there at the end of a day, and post the difference; return the count.

    A difference needs a note, and the day an open one. Raises `BadValue`, `AlreadyRecorded`.
    """
    counted_on = counted_on or timezone.localdate()
    refuse_repeat(CashCount, key)
    problems = Problems()
    if not 0 <= counted_cents <= AMOUNT_CENTS_MAX:
        problems.add("counted_cents", _("Enter the cash that is there, from 0 to a million."))
    if counted_on > timezone.localdate():
        problems.add("counted_on", _("This day is in the future. Choose today or an earlier day."))
    else:
        # What was sold on a closed day and came late counts on the first open one, and would count
        # twice.
        books_lock.check_open(problems, "counted_on", counted_on)
    problems.raise_any()
    expected_cents = expected_on(counted_on)
    difference_cents = counted_cents - expected_cents
    if difference_cents and not note.strip():
        raise BadValue(
            _(
                "The books have %(expected)s, so %(difference)s is the difference. Count again, or "
                "say what you know about it."
            )
            % {
                "expected": words.money(expected_cents),
                "difference": words.money(difference_cents),
            },
            parameter="note",
        )
    entry = None
    if difference_cents:
        entry = book.enter(
            kind=Entry.Kind.ADJUSTMENT,
            lines=[
                BookLine(Account.CASH, difference_cents),
                BookLine(Account.EXPENSES, -difference_cents, detail=DETAIL),
            ],
            happened_on=counted_on,
        )
    return CashCount.objects.create(
        counted_on=counted_on,
        counted_cents=counted_cents,
        expected_cents=expected_cents,
        note=note.strip(),
        entry=entry,
        recorded_by=counted_by,
        idempotency_key=key,
    )


@transaction.atomic
def undo(*, cash_count: CashCount, undone_by: Person, reason: str) -> CashCount:
    """Take a count back, with the difference it posted; raises `CannotReverse`, `BadValue`.

    What was taken off it for sales that came in late is taken back too. Not while a stand's day was
    closed after it, whose own difference is in this one.
    """
    cash_count = undone_documents.locked(CashCount, cash_count, reason)
    closing = StandDayClose.objects.filter(counted_with=cash_count, undone_on=None).first()
    if closing is not None:
        raise CannotReverse(
            _("What was over or short at a stand is in this count: %(day)s. Open that day first.")
            % {"day": closing.stand_day}
        )
    late = StandLateCash.objects.filter(
        # With the difference of a close in this count, so is what was taken off that close.
        Q(cash_count=cash_count) | Q(close__counted_with=cash_count),
        undo_entry=None,
    )
    for row in late.select_related("entry"):
        row.undo_entry = book.enter_opposite(row.entry, happened_on=timezone.localdate())
        row.save(update_fields=["undo_entry"])
    return undone_documents.undo(cash_count, undone_by=undone_by, reason=reason)


def expected_on(day: date) -> int:
    """Return the cash that the books have at the end of a day."""
    return book.balance_cents(Account.CASH, day)
