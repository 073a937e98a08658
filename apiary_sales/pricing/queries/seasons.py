"""What a season's honey cost, by category and by extraction."""

from collections import defaultdict
from collections.abc import Mapping

from django.db.models import Count, QuerySet, Sum

from apiary_sales.pricing.models import SeasonExpense
from apiary_sales.pricing.rules import seasons as rules
from apiary_sales.pricing.rules.seasons import Season, SeasonSums
from inventory.shared.money import split_cents
from inventory.stock.models import Lot


def season(year: int) -> Season:
    """Return a season's expenses and extractions; an extraction that was undone does not count."""
    return rules.season(
        year,
        expenses=SeasonExpense.objects.filter(season=year),
        extracted=Lot.objects.extracted_in(year),
    )


def comb(year: int) -> QuerySet[Lot]:
    """Return the comb honey harvested in a season, which none of its expenses are spread over."""
    return Lot.objects.comb_harvested_in(year)


def all_seasons() -> list[SeasonSums]:
    """Return the seasons with honey of our own or expenses, newest first, in five queries.

    A season whose only extractions were undone is among them.
    """
    expenses = dict(
        SeasonExpense.objects.order_by().values_list("season").annotate(Sum("amount_cents"))
    )
    rows = (
        Lot.objects.extractions_that_count()
        .order_by()
        .values("season")
        .annotate(
            grams=Sum("quantity_made"),
            cents=Sum("cost_cents"),
            lots=Count("pk"),
            known=Count("cost_cents"),
        )
    )
    grams = {row["season"]: row["grams"] for row in rows}
    costs = {row["season"]: row["cents"] for row in rows if row["lots"] == row["known"]}
    spread = _spread(costs, expenses)
    return [
        SeasonSums(
            season,
            total_cents=expenses.get(season),
            grams=grams.get(season, 0),
            cost_cents=costs.get(season),
            is_spread=season in spread,
        )
        for season in years()
    ]


def _spread(costs: Mapping[int, int | None], expenses: Mapping[int, int]) -> set[int]:
    """Return the seasons in which each extraction costs its share of the expenses.

    Only those whose extractions cost together what the expenses come to are read lot by lot.
    """
    likely = [season for season, cents in costs.items() if cents == expenses.get(season, 0)]
    if not likely:
        return set()
    weights: dict[int, list[int]] = defaultdict(list)
    cents: dict[int, list[int | None]] = defaultdict(list)
    found = Lot.objects.extractions_that_count().filter(season__in=likely)
    for season, grams, cost_cents in found.order_by("made_on", "id").values_list(
        "season", "quantity_made", "cost_cents"
    ):
        weights[season].append(grams)
        cents[season].append(cost_cents)
    return {
        season
        for season in cents
        if split_cents(expenses.get(season, 0), weights[season]) == cents[season]
    }


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
