"""Money that was moved: the list of it, and what would be wrong with it in the book."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import AccountMonth, EntryLine, MoneyMove

Account = EntryLine.Account
# What people look at before they move money; tax that is owed is below zero in the book.
_KEPT: dict[str, tuple[str | Promise, int]] = {
    Account.CASH: (_("Cash in the books"), 1),
    Account.CARD: (_("Card payments not in the bank yet"), 1),
    Account.TRANSFER: (_("Bank"), 1),
    Account.SALES_TAX: (_("Sales tax owed"), -1),
}


def money_moves() -> QuerySet[MoneyMove]:
    """Return all moves, the newest first, with who recorded them."""
    return MoneyMove.objects.select_related("recorded_by", "undone_by")


def faults() -> Iterator[str]:
    """Yield one sentence for each move that is in the book at other amounts than its own."""
    moves = MoneyMove.objects.order_by("id").prefetch_related("entry__lines", "undo_entry__lines")
    for move in moves.iterator(chunk_size=500):
        meant = {
            str(move.from_account): -move.cents,
            str(move.to_account): move.arrived_cents,
        }
        if move.fee_cents:
            meant[str(Account.EXPENSES)] = move.fee_cents
        if _by_account(move.entry.lines.all()) != meant:
            yield f"Move of money {move.pk} of {move.cents} cents is entered at other amounts."
        if move.undo_entry is not None:
            undone = {account: -cents for account, cents in meant.items()}
            if _by_account(move.undo_entry.lines.all()) != undone:
                yield f"Entry {move.undo_entry_id} does not undo move of money {move.pk} exactly."


def _by_account(lines: QuerySet[EntryLine]) -> dict[str, int]:
    found: dict[str, int] = {}
    for line in lines:
        found[line.account] = found.get(line.account, 0) + line.amount_cents
    return found


@dataclass(frozen=True)
class MoneyThere:
    """What an account has that money is moved from, or what is owed on it."""

    name: str | Promise
    cents: int


def kept() -> list[MoneyThere]:
    """Return the cash, the card payments and the bank in the books now, and the sales tax owed."""
    sums = AccountMonth.objects.by_account(_KEPT)
    return [MoneyThere(name, sign * sums[account]) for account, (name, sign) in _KEPT.items()]
