"""Documents that name their own entry are undone by the opposite one."""

from datetime import date

from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Expense, SupplierBill, SupplierPayment
from apiary_sales.billing.services import book
from inventory.shared import checks
from inventory.shared.errors import AlreadyRecorded, CannotReverse, Problems
from inventory.shared.people import Person


def check(
    document: SupplierBill | SupplierPayment | Expense, *, key: str, reason: str, undone_on: date
) -> None:
    """Refuse a document that was undone before, and an undoing without a reason.

    Raises `AlreadyRecorded` where this key undid it, `CannotReverse`, `BadValue`.
    """
    if document.undone_key == key:
        raise AlreadyRecorded(_("This was undone already."), made=document)
    if document.is_undone:
        raise CannotReverse(_("This was undone already."))
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say what was wrong."))
    if undone_on < document.entry.happened_on:
        problems.add("undone_on", _("This day is before the entry itself. Choose a later day."))
    checks.check_day(problems, "undone_on", undone_on)
    problems.raise_any()


def write(
    document: SupplierBill | SupplierPayment | Expense,
    *,
    undone_by: Person,
    key: str,
    reason: str,
    undone_on: date,
) -> None:
    """Enter the opposite of a document's entry and keep who undid it, and why."""
    document.undone_entry = book.enter_opposite(document.entry, happened_on=undone_on)
    document.undone_by = undone_by
    document.undone_reason = reason.strip()
    document.undone_key = key


def day_of(undone_on: date | None) -> date:
    """Return the day of an undoing: today where none was named."""
    return undone_on or timezone.localdate()
