"""Close the books up to a day, and open them again."""

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.shared.errors import Problems
from inventory.shared.models import BooksLock, House
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

__all__ = ["check_open", "close", "open_again"]


def check_open(problems: Problems, parameter: str, day: date) -> None:
    """Refuse a day on which nothing counts any more; call within the transaction that writes."""
    if BooksLock.objects.counting_day(day) != day:
        problems.add(
            parameter,
            _("The books are closed on %(day)s. Choose a later day.") % {"day": date_format(day)},
        )


@transaction.atomic
def close(*, until: date, locked_by: Person, key: str, note: str = "") -> BooksLock:
    """Close the books up to a day: nothing counts on it or before it any more; return the record.

    What is entered late keeps its day and counts on the first open day. Raises `BadValue` for
    today or later, or a day that is closed already, and `AlreadyRecorded`.
    """
    before = _locked_until()
    refuse_repeat(BooksLock, key)
    problems = Problems()
    if until >= timezone.localdate():
        problems.add("until", _("Choose a day before today: today is always open."))
    elif before is not None and until <= before:
        problems.add(
            "until",
            _("The books are closed up to %(day)s already. Choose a later day.")
            % {"day": date_format(before)},
        )
    problems.raise_any()
    return BooksLock.objects.create(
        locked_until=until, locked_by=locked_by, note=note.strip(), idempotency_key=key
    )


@transaction.atomic
def open_again(*, until: date | None, locked_by: Person, key: str, reason: str) -> BooksLock:
    """Open days that were closed, and return the record; `until` is the last one that stays closed.

    Without `until` all days are open again. Raises `BadValue` without a reason, or where those
    days are open, and `AlreadyRecorded`.
    """
    before = _locked_until()
    refuse_repeat(BooksLock, key)
    problems = Problems()
    if before is None:
        problems.add("until", _("The books are open on every day."))
    elif until is not None and until >= before:
        problems.add(
            "until",
            _("The books are closed up to %(day)s. Choose an earlier day, or none to open all.")
            % {"day": date_format(before)},
        )
    if not reason.strip():
        problems.add("reason", _("Say why the books are opened again; it is kept."))
    problems.raise_any()
    return BooksLock.objects.create(
        locked_until=until, locked_by=locked_by, note=reason.strip(), idempotency_key=key
    )


def _locked_until() -> date | None:
    """Lock the house's row, which late entries wait for, and return the last closed day."""
    House.objects.get_or_create(pk=1, defaults={"name": House.current().name})
    House.lock()
    return BooksLock.objects.locked_until()
