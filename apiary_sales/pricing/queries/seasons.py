"""What a season's honey cost, by category and by extraction."""

from django.db.models import Sum

from apiary_sales.pricing.models import SeasonExpense
from apiary_sales.pricing.rules import seasons as rules
from apiary_sales.pricing.rules.seasons import Season
from inventory.stock.models import Lot


def season(year: int) -> Season:
    """Return a season's expenses and extractions; an extraction that was undone does not count."""
    return rules.season(
        year,
        expenses=SeasonExpense.objects.filter(season=year),
        extracted=Lot.objects.extracted_in(year),
    )


def years() -> list[int]:
    """Return the seasons with honey or expenses, newest first."""
    found = set(
        Lot.objects.exclude(kind=Lot.Kind.GOODS)
        .order_by()
        .values_list("season", flat=True)
        .distinct()
    )
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
