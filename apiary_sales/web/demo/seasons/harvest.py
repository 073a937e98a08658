"""What came from the bees: extractions, drums filled, comb, and what a season cost."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from functools import partial

from django.db.models import QuerySet

from apiary_sales.billing.services import expenses
from apiary_sales.pricing.services import seasons
from apiary_sales.web.demo.fixtures import cents, grams, key
from apiary_sales.web.demo.seasons.things import Things
from apiary_sales.web.demo.seasons.timeline import DatedAct, Turn
from inventory.bottling.services import comb, holds
from inventory.stock.models import Balance, Measurement, Place
from inventory.stock.services import drums, honey

PAYEES = {
    "wages": "Helpers of the season",
    "feed": "Tolliver Feed and Seed",
    "treatment": "Marsh Lane Bee Supply",
    "fuel": "Hallow Brook Garage",
    "yards": "Owners of the yards",
    "extracting": "Marsh Lane Bee Supply",
    "repairs": "Hallow Brook Garage",
}


def acts(rows: dict, things: Things) -> Iterator[DatedAct]:
    years, filled = things.years, 0
    for number, row in enumerate(rows["extractions"]):
        day = years.day(row["ago"], row["on"])
        fills = row.get("drums", 0)
        gross = rows["drum_fills"]["gross_pounds"]
        weights = [gross[(filled + each) % len(gross)] for each in range(fills)]
        filled += fills
        yield DatedAct(
            day,
            Turn.EXTRACTED,
            f"extraction-{number}",
            "extractions",
            partial(_extract, row, day, f"{day.year}-extraction-{number}", weights, rows, things),
        )
    for row in rows["season_costs"]:
        season = years.last - row["ago"]
        yield DatedAct(
            years.day(row["ago"], row["on"]),
            Turn.SPENT,
            "season-costs",
            "",
            partial(_spend, row, season, things),
        )
        for on in row["spread_on"]:
            yield DatedAct(
                years.day(row["ago"], on),
                Turn.COSTED,
                "season-spread",
                "",
                partial(seasons.spread, season),
            )
    for row in rows["comb"]:
        day = years.day(row["ago"], row["on"])
        yield DatedAct(
            day,
            Turn.EXTRACTED,
            "comb",
            "",
            partial(
                comb.receive,
                product=things.products[row["product"]],
                place=things.place("storeroom"),
                quantity=row["pieces"],
                season=day.year,
                floral_source=row["floral_source"],
                yard=row["yard"],
                harvested_on=day,
                cost_cents=cents(row["cost"]),
                recorded_by=things.bottler,
                key=key(f"{day.year}-comb"),
            ),
        )


def _extract(
    row: dict, day: date, name: str, weights: list[str], rows: dict, things: Things
) -> None:
    tank = things.place(rows["tank"]["code"])
    lot = honey.receive(
        place=things.place(row["own_drum"]) if "own_drum" in row else tank,
        grams=grams(row["pounds"]),
        season=day.year,
        floral_source=row["floral_source"],
        yard=row["yard"],
        moisture_percent=Decimal(row["moisture_percent"]),
        colour_mm=Decimal(row["colour_mm"]),
        moisture_method=Measurement.Method.REFRACTOMETER,
        colour_method=Measurement.Method.PHOTOMETER,
        extracted_on=day,
        recorded_by=things.bottler,
        key=key(name),
    )
    if "hold" in row:
        holds.hold(lots=[lot], reason=row["hold"], held_by=things.owner)
    for number, (drum, gross) in enumerate(zip(empty_drums(), weights, strict=False)):
        drums.fill(
            tank=tank,
            drum=drum,
            gross_grams=grams(gross),
            recorded_by=things.bottler,
            key=key(f"{name}-fill-{number}"),
            filled_on=day,
        )


def empty_drums() -> list[Place]:
    full = {there.place_id for there in full_drums()}
    return [drum for drum in _shared_drums() if drum.pk not in full]


def full_drums() -> list[Balance]:
    """Return what is in the drums that were filled from the tank and nobody has reserved."""
    found = Balance.objects.filter(place__in=_shared_drums(), quantity__gt=0)
    return list(found.filter(reserved=0).select_related("place", "lot").order_by("place__code"))


def _shared_drums() -> QuerySet[Place]:
    return Place.objects.filter(
        kind=Place.Kind.DRUM, code__gte="D-101", code__lte="D-120", is_active=True
    ).order_by("code")


def _spend(row: dict, season: int, things: Things) -> None:
    day = things.years.day(row["ago"], row["on"])
    for category, amount in row["costs"].items():
        expenses.enter(
            payee=PAYEES[category],
            category=category,
            amount_cents=cents(amount),
            paid_by="transfer",
            entered_by=things.seller,
            key=key(f"{season}-cost-{category}"),
            spent_on=day,
            season=season if row["spread_on"] else None,
        )
