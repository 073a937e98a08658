"""Prices a pound as pages show them and forms use them. They are before sales tax."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import WeightPrice
from apiary_sales.pricing.queries.prices import BulkList, bulk_list
from apiary_sales.pricing.rules.weight_prices import WeightPriceList
from inventory.bottling.models import Product
from inventory.stock.models import Lot


@dataclass(frozen=True)
class PoundPrices:
    """What a pound costs in one tier on one day; bulk buyers pay the drum price for honey."""

    by_weight: WeightPriceList
    bulk: BulkList | None

    def of_product(self, product: Product) -> Decimal | None:
        return self.by_weight.of_product(product)

    def of_honey(self, lot: Lot) -> Decimal | None:
        price = self.bulk.price_per_pound(lot) if self.bulk else None
        return self.by_weight.of_honey(lot) if price is None else price


@dataclass(frozen=True)
class WeightPriceRow:
    """One thing that has a price a pound in some tier; `prices` are in the order of the tiers."""

    what: str
    product: Product | None
    variety_id: int | None
    prices: tuple[tuple[str, str, Decimal | None], ...]


def of_tier(tier: str, on: date) -> PoundPrices:
    """Return the prices a pound in force for one tier, in one or two queries."""
    rows = WeightPrice.objects.filter(tier=tier).in_force(on)
    bulk = bulk_list(on) if tier == Customer.Tier.BULK else None
    return PoundPrices(WeightPriceList(tier, tuple(rows)), bulk)


def of_product(
    product: Product, on: date, tiers: Sequence[Customer.Tier]
) -> list[tuple[str, Decimal | None]]:
    """Return what a pound of goods costs on a day, by tier, in one query."""
    rows = WeightPrice.objects.filter(product=product).in_force(on)
    by_tier = {row.tier: row.price_per_pound for row in rows}
    return [(str(tier.label), by_tier.get(tier.value)) for tier in tiers]


def table(on: date, tiers: Sequence[Customer.Tier]) -> list[WeightPriceRow]:
    """Return what has a price a pound on a day in these tiers, honey first, in one query."""
    found: dict[tuple[int | None, int | None], list[WeightPrice]] = {}
    for row in WeightPrice.objects.filter(tier__in=tiers).in_force(on):
        found.setdefault((row.product_id, row.variety_id), []).append(row)
    listed = []
    for (_product, variety), rows in found.items():
        by_tier = {row.tier: row.price_per_pound for row in rows}
        prices = tuple((tier.value, str(tier.label), by_tier.get(tier.value)) for tier in tiers)
        listed.append(WeightPriceRow(rows[0].what, rows[0].product, variety, prices))
    return sorted(listed, key=lambda row: (row.product is not None, bool(row.variety_id), row.what))
