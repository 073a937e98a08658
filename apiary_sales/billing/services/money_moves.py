"""Move money between the drawer, the bank, the owner, the tax office and deposits held."""

from datetime import date

from django.db import transaction
from django.db.models import Sum
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import (
    WAYS,
    Entry,
    ExpenseCategory,
    MoneyMove,
    OpeningAmount,
)
from apiary_sales.billing.services import book, money_out, undone_documents
from apiary_sales.billing.services.book import Account, BookLine
from inventory.shared import checks, words
from inventory.shared.errors import Problems
from inventory.shared.models import BooksLock, House
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

# Only these take a fee for what they do.
TAKES_FEE = (Account.TRANSFER, Account.CARD)
# What these have is all that can leave them.
CANNOT_BE_BELOW_ZERO = (Account.CASH, Account.CARD)


@transaction.atomic
def move(
    *,
    from_account: str,
    to_account: str,
    cents: int,
    moved_by: Person,
    key: str,
    fee_cents: int = 0,
    moved_on: date | None = None,
    reference: str = "",
    note: str = "",
) -> MoneyMove:
    """Move money from one account of the house to another, and return the move.

    `cents` leaves `from_account`; `to_account` gets it less `fee_cents`, which the bank or the card
    company keeps and which is an expense. Checks and drum deposits are moved up to what the books
    began with: those of customers have deposit slips and credit notes. Raises `BadValue` (or
    several), `AlreadyRecorded`.
    """
    moved_on = moved_on or timezone.localdate()
    # One at a time, so that two people don't both take what is in the drawer.
    House.lock()
    refuse_repeat(MoneyMove, key)
    problems = Problems()
    _check_way(problems, from_account, to_account)
    money_out.check_amount(problems, "cents", cents)
    _check_fee(problems, from_account, to_account, cents=cents, fee_cents=fee_cents)
    checks.check_day(problems, "moved_on", moved_on)
    problems.raise_any()
    counts_on = BooksLock.objects.counting_day(moved_on)
    _check_there(problems, from_account, cents, counts_on)
    arrived_cents = cents - fee_cents
    moved_cents = arrived_cents if to_account == Account.DEPOSITS else cents
    _check_opening(problems, from_account, to_account, cents=moved_cents, counts_on=counts_on)
    problems.raise_any()
    made = MoneyMove(
        from_account=from_account,
        to_account=to_account,
        cents=cents,
        fee_cents=fee_cents,
        moved_on=moved_on,
        reference=reference.strip(),
        note=note.strip(),
        entry=book.enter(
            kind=Entry.Kind.TRANSFER,
            lines=[
                BookLine(to_account, arrived_cents),
                BookLine(Account.EXPENSES, fee_cents, detail=ExpenseCategory.FEES),
                BookLine(from_account, -cents),
            ],
            happened_on=moved_on,
        ),
        recorded_by=moved_by,
        idempotency_key=key,
    )
    checks.save_checked(made)
    return made


@transaction.atomic
def undo(*, money_move: MoneyMove, undone_by: Person, reason: str) -> MoneyMove:
    """Take a move back, with its fee; raises `CannotReverse` for a second time, `BadValue`."""
    money_move = undone_documents.locked(MoneyMove, money_move, reason)
    return undone_documents.undo(money_move, undone_by=undone_by, reason=reason)


def opening_left_cents(account: str, on: date | None = None) -> int:
    """Return what is left of the checks or drum deposits with which the books began, or was then.

    What was moved after that day is gone from it too: it can't be moved a second time.
    """
    begun = OpeningAmount.objects.filter(account=account, undo_entry=None)
    if on is not None:
        begun = begun.filter(entry__entered_on__lte=on)
    moves = MoneyMove.objects.filter(undo_entry=None)
    is_owed = account in OpeningAmount.OWED
    moves = moves.filter(to_account=account) if is_owed else moves.filter(from_account=account)
    begun_cents: int = begun.aggregate(sum=Coalesce(Sum("amount_cents"), 0))["sum"]
    moved_cents = sum(move.arrived_cents if is_owed else move.cents for move in moves)
    return begun_cents - moved_cents


def is_moved(opening: OpeningAmount) -> bool:
    """Tell whether checks or drum deposits with which the books began were moved since."""
    moves = MoneyMove.objects.filter(undo_entry=None)
    if opening.account == Account.CHECK:
        return moves.filter(from_account=Account.CHECK).exists()
    return (
        opening.account == Account.DEPOSITS and moves.filter(to_account=Account.DEPOSITS).exists()
    )


def _check_way(problems: Problems, from_account: str, to_account: str) -> None:
    if from_account == to_account:
        problems.add("to_account", _("Money moves from one account to another. Choose two."))
    elif (from_account, to_account) not in WAYS:
        ways = "; ".join(str(way) for way in WAYS.values())
        problems.add(
            "to_account",
            _("Money is not moved this way here. These can be recorded: %(ways)s.")
            % {"ways": ways},
        )


def _check_fee(
    problems: Problems, from_account: str, to_account: str, *, cents: int, fee_cents: int
) -> None:
    if fee_cents < 0 or (fee_cents and fee_cents >= cents):
        problems.add("fee_cents", _("The fee is a part of the amount, so it must be less than it."))
    elif fee_cents and from_account not in TAKES_FEE and to_account not in TAKES_FEE:
        problems.add("fee_cents", _("Only a bank or a card company takes a fee. Leave it at zero."))


def _check_there(problems: Problems, from_account: str, cents: int, counts_on: date) -> None:
    if from_account not in CANNOT_BE_BELOW_ZERO:
        return
    there = book.there_cents(from_account, counts_on)
    if cents <= there:
        return
    text = _("There is %(there)s of cash in the books on this day. Enter an amount up to that.")
    if from_account == Account.CARD:
        text = _(
            "The books have %(there)s of card payments on this day that are not in the bank yet. "
            "Enter an amount up to that, before the fee."
        )
    problems.add("cents", text % {"there": words.money(there)})


def _check_opening(
    problems: Problems, from_account: str, to_account: str, *, cents: int, counts_on: date
) -> None:
    """Checks and deposits leave by a move only as far as they were there when the books began."""
    if from_account == Account.CHECK:
        left = max(0, opening_left_cents(Account.CHECK, counts_on))
        text = _(
            "%(left)s is left of the checks with which the books began. Checks that were received "
            "later are brought to the bank with a deposit slip."
        )
    elif to_account == Account.DEPOSITS:
        left = max(0, opening_left_cents(Account.DEPOSITS, counts_on))
        text = _(
            "%(left)s is left of the drum deposits with which the books began. Deposits that were "
            "billed later are given back in the drum register."
        )
    else:
        return
    if cents > left:
        problems.add("cents", text % {"left": words.money(left)})
