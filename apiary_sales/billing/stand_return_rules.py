"""What of a stand sale comes back, of which lines, and by which way its money goes back.

Nothing here reads or writes the database: lines of receipts are handed in, loaded.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from apiary_sales.billing import rules
from apiary_sales.billing.models import InvoiceLine, Payment
from apiary_sales.billing.rules import Left, LineCredit
from inventory.shared import words
from inventory.shared.errors import Problems
from inventory.shared.money import share_cents

# Where the buyer paid in several ways, money goes back in this order after the way that was chosen.
WAYS = (
    Payment.Method.CASH,
    Payment.Method.CARD,
    Payment.Method.TRANSFER,
    Payment.Method.CHECK,
)


@dataclass(frozen=True)
class PiecesBack:
    """So many pieces of one line of a receipt come back; None for all that is left of it.

    What is sold by weight comes back whole. Goods that are `is_on_shelf` never left the counter and
    can be sold again; others wait until somebody decides.
    """

    line: InvoiceLine
    pieces: int | None = None
    is_on_shelf: bool = False

    @property
    def credit(self) -> LineCredit:
        quantity = None if self.pieces is None else Decimal(self.pieces)
        return LineCredit(self.line, quantity=quantity)


def allot(left: Iterable[Left], pieces: int, lot_code: str = "") -> list[PiecesBack]:
    """Return of which lines so many pieces come back; fewer where there are not as many.

    Lines of the lot that is printed on the jar come first, then those that cost least.
    """
    found: list[PiecesBack] = []
    for row in sorted(left, key=lambda row: (row.line.lot_code != lot_code, cents_of_one(row))):
        taken = min(pieces, int(row.quantity))
        if taken > 0:
            found.append(PiecesBack(row.line, taken))
            pieces -= taken
    return found


def cents_of_one(left: Left) -> int:
    """Return what one piece of a line was sold for, in cents, less its share of the discount."""
    return share_cents(left.amount_cents, 1, int(left.quantity)) if int(left.quantity) else 0


def comes_to(left: Sequence[Left], back: Sequence[PiecesBack]) -> int:
    """Return the cents that a return gives back, with tax."""
    made = rules.credited(Problems(), left, [each.credit for each in back])
    return -rules.total_of(each.line for each in made).total_cents


def share_out(there: Mapping[str, int], cents: int, first: str) -> dict[str, int]:
    """Return how much goes back by which way: by the `first` as far as it reaches, then the others.

    `there` is what was paid by each way and was not given back.
    """
    shares = {}
    for way in sorted(there, key=lambda way: (way != first, WAYS.index(Payment.Method(way)))):
        share = min(cents, there[way])
        if share > 0:
            shares[way] = share
            cents -= share
    return shares


def how_to_give(shares: Mapping[str, int]) -> str:
    """Say to the person at the counter what to do for each way."""
    sentences = {
        Payment.Method.CASH: _("Give back %(amount)s in cash."),
        Payment.Method.CARD: _("Give back %(amount)s on the card reader."),
        Payment.Method.TRANSFER: _("Transfer %(amount)s back."),
        Payment.Method.CHECK: _("Write a check for %(amount)s."),
    }
    return " ".join(
        sentences[Payment.Method(way)] % {"amount": words.money(cents)}
        for way, cents in shares.items()
    )
