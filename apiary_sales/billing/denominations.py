"""The coins and notes that cash is counted by.

Dollars: coins by 31 U.S.C. § 5112 (a) as the United States Mint makes them, notes as the Federal
Reserve issues them (uscurrency.gov, "Denominations"). Euros: coins by Council Regulation (EU)
729/2014, Annex I, and notes by Decision ECB/2013/10, Article 1; the note of 500 is no longer
issued since 2019 and remains money. Where the house has another currency, cash is counted as a sum.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from inventory.shared import words

COIN, NOTE = "coin", "note"
# More of one coin or note in a drawer is a slip of the finger.
PIECES_MAX = 10_000

_CENTS: dict[str, dict[str, Sequence[int]]] = {
    "USD": {
        COIN: (1, 5, 10, 25, 50, 100),
        NOTE: (100, 200, 500, 1_000, 2_000, 5_000, 10_000),
    },
    "EUR": {
        COIN: (1, 2, 5, 10, 20, 50, 100, 200),
        NOTE: (500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000),
    },
}


@dataclass(frozen=True)
class Denomination:
    """A coin or note; `name` is what it is stored by, as "coin-25"."""

    kind: str
    cents: int

    @property
    def name(self) -> str:
        return f"{self.kind}-{self.cents}"

    @property
    def label(self) -> str:
        text = _("note of %(money)s") if self.kind == NOTE else _("coin of %(money)s")
        return text % {"money": words.money(self.cents)}


def of_currency(currency: str) -> list[Denomination]:
    """Return the coins and notes of a currency, the smallest first; none where it is not known."""
    kinds = _CENTS.get(currency, {})
    return [Denomination(kind, cents) for kind, row in kinds.items() for cents in row]


def sum_cents(pieces: Mapping[str, int], currency: str) -> int:
    """Return what so many coins and notes come to; raises `KeyError` for one that there is not."""
    cents = {each.name: each.cents for each in of_currency(currency)}
    return sum(cents[name] * count for name, count in pieces.items())


def in_order(pieces: Mapping[str, int], currency: str) -> list[tuple[Denomination, int]]:
    """Return the coins and notes that were counted, the smallest first."""
    return [(each, pieces[each.name]) for each in of_currency(currency) if pieces.get(each.name)]
