"""What a season's honey cost, by category and by extraction."""

from collections import defaultdict

from django.db.models import Count, QuerySet, Sum

from apiary_sales.pricing.models import SeasonExpense
from apiary_sales.pricing.rules import seasons as rules
from apiary_sales.pricing.rules.seasons import Season, SeasonSums
from inventory.stock.models import Lot


def season(year: int) -> Season:
    """Return a season's expenses and extractions; an extraction that was undone does not count."""
    return rules.season(
        year,
        expenses=SeasonExpense.objects.filter(season=year),
        extracted=Lot.objects.extracted_in(year),
    )


def all_in_full() -> list[Season]:
    """Return every season as `season` does, newest first, in four queries."""
    expenses: dict[int, list[SeasonExpense]] = defaultdict(list)
    for expense in SeasonExpense.objects.all():
        expenses[expense.season].append(expense)
    extracted: dict[int, list[Lot]] = defaultdict(list)
    for lot in Lot.objects.extractions_that_count().order_by("made_on", "id"):
        extracted[lot.season].append(lot)
    return [
        rules.season(year, expenses=expenses[year], extracted=extracted[year]) for year in years()
    ]


def comb(year: int) -> QuerySet[Lot]:
    """Return the comb honey harvested in a season, which none of its expenses are spread over."""
    return Lot.objects.comb_harvested_in(year)


def all_seasons() -> list[SeasonSums]:
    """Return the seasons with honey of our own or expenses, newest first, in four queries.

    A season whose only extractions were undone is among them.
    """
    expenses = dict(
        SeasonExpense.objects.order_by().values_list("season").annotate(Sum("amount_cents"))
    )
    extracted = {
        row["season"]: row
        for row in Lot.objects.extractions_that_count()
        .order_by()
        .values("season")
        .annotate(
            grams=Sum("quantity_made"),
            cents=Sum("cost_cents"),
            lots=Count("pk"),
            known=Count("cost_cents"),
        )
    }
    known = {season for season, row in extracted.items() if row["lots"] == row["known"]}
    return [
        SeasonSums(
            season,
            total_cents=expenses.get(season),
            grams=extracted[season]["grams"] if season in extracted else 0,
            cost_cents=extracted[season]["cents"] if season in known else None,
        )
        for season in years()
    ]


def years() -> list[int]:
    """Return the seasons with honey of our own or expenses, newest first."""
    extracted = Lot.objects.own_extractions().order_by()
    found = set(extracted.values_list("season", flat=True).distinct())
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
