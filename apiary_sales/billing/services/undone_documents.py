"""Take a document of the book of money back by an entry of the opposite lines."""

from typing import TypeVar

from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import (
    BouncedCheck,
    CashCount,
    DepositSlip,
    KeptDeposit,
    MoneyMove,
    OpeningAmount,
    StandDayClose,
)
from apiary_sales.billing.services import book
from inventory.shared.errors import CannotReverse, Problems
from inventory.shared.people import Person

Document = TypeVar(
    "Document",
    DepositSlip,
    BouncedCheck,
    CashCount,
    OpeningAmount,
    KeptDeposit,
    MoneyMove,
    StandDayClose,
)


def locked(model: type[Document], document: Document, reason: str) -> Document:
    """Lock a document that is to be undone, and return it as it is now.

    Raises `CannotReverse` where it was undone already, `BadValue` without a reason.
    """
    # Another may have locked the document first: read it once it is ours.
    now = model._default_manager.select_for_update(of=("self",), no_key=True).get(pk=document.pk)
    if now.is_undone:
        raise CannotReverse(_("This was undone already."))
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say why it is undone."))
    problems.raise_any()
    return now


def undo(document: Document, *, undone_by: Person, reason: str) -> Document:
    """Write the opposite entry of a locked document, if it has one, and save that it is undone."""
    today = timezone.localdate()
    if document.entry is not None:
        document.undo_entry = book.enter_opposite(document.entry, happened_on=today)
    document.undone_on = today
    document.undone_by = undone_by
    document.undone_reason = reason.strip()
    document.save()
    return document
