"""What was sold before, for who asks below the apps that keep sales.

Each app that keeps sales registers a `SalesSource`: what was handed over through this program, and
what was brought in from lists of the time before it. No sale is in two of them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import DateField, QuerySet, Value

from apiary_sales.customers.models import Customer
from inventory.bottling.models import Product

# The product, the day, and how much of it went that day: pieces, or grams of goods by weight.
DayRow = tuple[int, date, int]


@dataclass(frozen=True)
class SoldRow:
    """Pieces of one product that went one way, in sales of so many pieces each.

    `channel` is that of an order. `tier` is the price list of the customer; None without a
    customer.
    """

    channel: str
    tier: str | None
    product_id: int
    pieces_a_sale: int
    pieces: int

    @property
    def price_list(self) -> str:
        """The price list that applies to it."""
        tier = Customer.Tier
        return str(tier.STAND if self.channel == "stand" else self.tier or tier.STAND)


@dataclass(frozen=True)
class SalesSource:
    """How an app tells what it has of past sales; first and last day are both in."""

    # Rows as `DayRow`, asked for together with those of others.
    by_day: Callable[[Collection[int], date, date], QuerySet[Any, DayRow]]
    by_sale: Callable[[date, date], Iterable[SoldRow]]
    # The day of the first sale of each product.
    first_days: Callable[[Collection[int]], Mapping[int, date]]
    # Those of these products that were sold on a day or before it.
    sold_by: Callable[[Collection[int], date], QuerySet[Product]]


YEAR = timedelta(days=365)

_sources: list[SalesSource] = []


def register(source: SalesSource) -> None:
    _sources.append(source)


def by_day(products: Collection[int], first: date, last: date) -> tuple[list[DayRow], set[int]]:
    """Return how much of these products went on each day, and which were sold by the first day.

    In one query. A day may have several rows. Which products were sold by then is found without
    reading all sales, as the day of the first one is not.
    """
    before = (Value(None, output_field=DateField()), Value(0))
    asked = [
        rows
        for source in _sources
        for rows in (
            source.by_day(products, first, last),
            source.sold_by(products, first).values_list("pk", *before),
        )
    ]
    rows = list(asked[0].union(*asked[1:], all=True))
    return (
        [(product, day, much) for product, day, much in rows if day],
        {product for product, day, _much in rows if day is None},
    )


def by_sale(first: date, last: date) -> list[SoldRow]:
    """Return the pieces that went from one day to another, by way and size of the sale."""
    return [row for source in _sources for row in source.by_sale(first, last)]


def last_year(on: date) -> list[SoldRow]:
    """Return the pieces of the 365 days up to a day."""
    return by_sale(on - YEAR + timedelta(days=1), on)


def first_days(products: Collection[int]) -> dict[int, date]:
    """Return the day of the first sale of each of these products that was ever sold."""
    found: dict[int, date] = {}
    for source in _sources:
        for product, day in source.first_days(products).items():
            found[product] = min(day, found.get(product, day))
    return found
