"""What a season's honey cost: its expenses, shared out over its extractions by weight."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from apiary_sales.pricing.models import SeasonExpense
from inventory.shared.money import FOUR_PLACES, split_cents
from inventory.shared.weights import unit_grams
from inventory.stock.models import Lot


@dataclass(frozen=True)
class LotShare:
    """One extraction: what it costs now, and its share of the season's expenses."""

    lot: Lot
    share_cents: int

    @property
    def per_pound(self) -> Decimal | None:
        return per_pound(self.lot.cost_cents, self.lot.quantity_made)

    @property
    def is_spread(self) -> bool:
        return self.lot.cost_cents == self.share_cents


@dataclass(frozen=True)
class Season:
    """One season's expenses and extractions."""

    season: int
    expenses: tuple[SeasonExpense, ...]
    lots: tuple[LotShare, ...]

    @property
    def total_cents(self) -> int:
        return sum(expense.amount_cents for expense in self.expenses)

    @property
    def grams(self) -> int:
        return sum(row.lot.quantity_made for row in self.lots)

    @property
    def per_pound(self) -> Decimal | None:
        """What a pound costs by the expenses; None before anything is extracted."""
        return per_pound(self.total_cents, self.grams) if self.expenses else None

    @property
    def cost_cents(self) -> int | None:
        """What the lots cost now, or None while one of them has no cost."""
        known = [row.lot.cost_cents for row in self.lots if row.lot.cost_cents is not None]
        return sum(known) if self.lots and len(known) == len(self.lots) else None

    @property
    def cost_per_pound(self) -> Decimal | None:
        return per_pound(self.cost_cents, self.grams)

    @property
    def is_spread(self) -> bool:
        return bool(self.lots) and all(row.is_spread for row in self.lots)


@dataclass(frozen=True)
class SeasonSums:
    """One season of the list of all: its expenses and extractions, added up.

    `total_cents` is None where no expense is entered; `cost_cents` while a lot has no cost.
    `is_spread` says that each extraction costs its share of the expenses.
    """

    season: int
    total_cents: int | None
    grams: int
    cost_cents: int | None
    is_spread: bool

    @property
    def per_pound(self) -> Decimal | None:
        return per_pound(self.total_cents, self.grams)

    @property
    def cost_per_pound(self) -> Decimal | None:
        return per_pound(self.cost_cents, self.grams)


def season(year: int, *, expenses: Iterable[SeasonExpense], extracted: Iterable[Lot]) -> Season:
    """Share a season's expenses out over its extractions, to the cent.

    `extracted` is `Lot.objects.extracted_in` of the year.
    """
    expenses, lots = tuple(expenses), list(extracted)
    total = sum(expense.amount_cents for expense in expenses)
    shares = split_cents(total, [lot.quantity_made for lot in lots]) if lots else []
    return Season(
        year,
        expenses,
        tuple(LotShare(lot, share) for lot, share in zip(lots, shares, strict=True)),
    )


def per_pound(cents: int | None, grams: int) -> Decimal | None:
    """Return cents over grams as a price a pound, to four places."""
    if cents is None or not grams:
        return None
    return (Decimal(cents) / 100 / Decimal(grams) * unit_grams()).quantize(FOUR_PLACES)
