"""What a season's honey cost, by category and by extraction."""

from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Sum

from apiary_sales.pricing.models import SeasonExpense
from inventory.physics.units import POUND_GRAMS
from inventory.shared.money import split_cents
from inventory.stock.models import Lot, Posting, PostingLine

FOUR_PLACES = Decimal("0.0001")


@dataclass(frozen=True)
class LotCost:
    """One extraction: what it costs now, and its share of the season's expenses."""

    lot: Lot
    share_cents: int

    @property
    def per_pound(self) -> Decimal | None:
        return per_pound(self.lot.cost_cents, self.lot.quantity_made)

    @property
    def share_per_pound(self) -> Decimal | None:
        return per_pound(self.share_cents, self.lot.quantity_made)

    @property
    def is_spread(self) -> bool:
        return self.lot.cost_cents == self.share_cents


@dataclass(frozen=True)
class Season:
    """One season's expenses and extractions."""

    season: int
    expenses: tuple[SeasonExpense, ...]
    lots: tuple[LotCost, ...]

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
        """What the lots cost as they stand, or None while one of them has no cost."""
        costs = [row.lot.cost_cents for row in self.lots]
        return None if None in costs or not costs else sum(costs)

    @property
    def cost_per_pound(self) -> Decimal | None:
        return per_pound(self.cost_cents, self.grams)

    @property
    def is_spread(self) -> bool:
        return bool(self.lots) and all(row.is_spread for row in self.lots)


def season(year: int) -> Season:
    """Return a season's expenses and extractions; an extraction that was undone does not count."""
    expenses = tuple(SeasonExpense.objects.filter(season=year))
    undone = PostingLine.objects.filter(
        posting__kind=Posting.Kind.EXTRACTION,
        posting__reversed_by__isnull=False,
        lot__season=year,
        place__kind="harvest",
    )
    lots = list(
        Lot.objects.filter(kind=Lot.Kind.EXTRACTION, season=year)
        .exclude(pk__in=undone.values("lot"))
        .order_by("made_on", "id")
    )
    total = sum(expense.amount_cents for expense in expenses)
    shares = split_cents(total, [lot.quantity_made for lot in lots]) if lots else []
    return Season(
        year,
        expenses,
        tuple(LotCost(lot, share) for lot, share in zip(lots, shares, strict=True)),
    )


def years() -> list[int]:
    """Return the seasons with honey or expenses, newest first."""
    found = set(Lot.objects.order_by().values_list("season", flat=True).distinct())
    found |= set(SeasonExpense.objects.order_by().values_list("season", flat=True).distinct())
    return sorted(found, reverse=True)


def by_category(year: int) -> list[tuple[str, int]]:
    """Return a season's expenses summed by category, the largest first."""
    sums = (
        SeasonExpense.objects.filter(season=year)
        .order_by()
        .values("category")
        .annotate(cents=Sum("amount_cents"))
    )
    rows = [(str(SeasonExpense.Category(row["category"]).label), row["cents"]) for row in sums]
    return sorted(rows, key=lambda row: (-row[1], row[0]))


def per_pound(cents: int | None, grams: int) -> Decimal | None:
    """Return cents over grams as a price a pound, to four places."""
    if cents is None or not grams:
        return None
    return (Decimal(cents) / 100 / Decimal(grams) * POUND_GRAMS).quantize(FOUR_PLACES)
