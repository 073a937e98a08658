"""Bring cash and checks to the bank."""

from collections.abc import Collection
from datetime import date

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import (
    BouncedCheck,
    DepositedCheck,
    DepositSlip,
    Entry,
    Payment,
)
from apiary_sales.billing.services import book, undone_documents
from apiary_sales.billing.services.book import Account, BookLine
from inventory.shared import words
from inventory.shared.errors import CannotReverse, Problems
from inventory.shared.models import BooksLock, House
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.services import numbers

SERIES = "deposit-slip"


@transaction.atomic
def deposit(
    *,
    checks: Collection[Payment],
    cash_cents: int,
    deposited_by: Person,
    key: str,
    deposited_on: date | None = None,
    bank_account: str = "",
) -> DepositSlip:
    """Put checks and an amount of cash on a deposit slip, and return it; the money is in the bank.

    A check is brought there as it is written, with what was given on top with it.
    Raises `BadValue` for a check that is not here, for more cash than the books have, now or that
    day, or where there is neither; `AlreadyRecorded`.
    """
    deposited_on = deposited_on or timezone.localdate()
    # The number is taken first: one slip after the other, so that no check is on two.
    number = numbers.next_number(SERIES)
    # One at a time, so that two people don't both take what is in the drawer.
    House.lock()
    refuse_repeat(DepositSlip, key)
    there_cents = book.there_cents(Account.CASH, BooksLock.objects.counting_day(deposited_on))
    here = {payment.pk for payment in checks_here()}
    problems = Problems()
    if missing := [payment for payment in checks if payment.pk not in here]:
        problems.add(
            "checks",
            _("The check over %(amount)s is not here any more. Look at the list again.")
            % {"amount": words.money(missing[0].face_cents)},
        )
    if late := [payment for payment in checks if payment.received_on > deposited_on]:
        problems.add(
            "deposited_on",
            _("The check over %(amount)s was received after this day. Choose a later day.")
            % {"amount": words.money(late[0].face_cents)},
        )
    if not 0 <= cash_cents <= max(0, there_cents):
        problems.add(
            "cash_cents",
            _("There is %(there)s of cash in the books. Enter an amount up to that.")
            % {"there": words.money(max(0, there_cents))},
        )
    elif not checks and not cash_cents:
        problems.add("checks", _("Choose checks, or enter an amount of cash."))
    if deposited_on > timezone.localdate():
        problems.add(
            "deposited_on", _("This day is in the future. Choose today or an earlier day.")
        )
    problems.raise_any()
    checks_cents = sum(payment.face_cents for payment in checks)
    slip = DepositSlip.objects.create(
        number=number,
        deposited_on=deposited_on,
        bank_account=bank_account.strip(),
        cash_cents=cash_cents,
        total_cents=cash_cents + checks_cents,
        entry=book.enter(
            kind=Entry.Kind.TRANSFER,
            lines=[
                BookLine(Account.TRANSFER, cash_cents + checks_cents),
                BookLine(Account.CASH, -cash_cents),
                BookLine(Account.CHECK, -checks_cents),
            ],
            happened_on=deposited_on,
        ),
        recorded_by=deposited_by,
        idempotency_key=key,
    )
    DepositedCheck.objects.bulk_create(
        DepositedCheck(slip=slip, payment=payment)
        for payment in sorted(checks, key=lambda payment: payment.pk)
    )
    return slip


@transaction.atomic
def undo(*, slip: DepositSlip, undone_by: Person, reason: str) -> DepositSlip:
    """Take a deposit slip back; its checks and cash are here again. Its number is not given again.

    Raises `CannotReverse` where it was undone, or one of its checks bounced; `BadValue`.
    """
    slip = undone_documents.locked(DepositSlip, slip, reason)
    if BouncedCheck.objects.filter(payment__deposits__slip=slip).exists():
        raise CannotReverse(
            _("A check on this slip bounced, so it was deposited. The slip can't be undone.")
        )
    return undone_documents.undo(slip, undone_by=undone_by, reason=reason)


def checks_here() -> QuerySet[Payment]:
    """Return the checks that were received and are on no deposit slip, oldest first."""
    on_slips = DepositedCheck.objects.filter(slip__undone_on=None)
    return (
        Payment.objects.filter(
            method=Payment.Method.CHECK, amount_cents__gt=0, reversed_by__reverses=None
        )
        # Asked so that SQLite begins with the checks, not with all that undoes no other payment.
        .exclude(reverses__gt=0)
        .exclude(Exists(on_slips.filter(payment=OuterRef("pk"))))
        # A check that was good after all is in the bank already, where it was on a slip.
        .exclude(Exists(on_slips.filter(payment__bounced__recorded_again=OuterRef("pk"))))
        .select_related("customer")
        .order_by("received_on", "id")
    )


def cash_there_cents() -> int:
    """Return the cash that the books have here now."""
    return book.there_cents(Account.CASH, timezone.localdate())
