"""What the stand page shows: products with their price and stock, and what was sold lately."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Case, F, QuerySet, Sum, When

from apiary_sales.billing.models import Invoice
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import TaxRate
from apiary_sales.pricing.queries import prices
from apiary_sales.pricing.rules import tax
from apiary_sales.pricing.rules.prices import PricesOfProduct
from inventory.bottling.models import Product
from inventory.shared.models import House
from inventory.stock.models import Balance, Place

TIER = Customer.Tier.STAND


@dataclass(frozen=True)
class StandProduct:
    """A product that has a stand price, with the pieces free for sale at the stand."""

    product: Product
    free: int
    prices: PricesOfProduct

    @property
    def piece_cents(self) -> int | None:
        return self.prices.breaks[0].piece_cents

    def as_data(self) -> dict[str, Any]:
        """Return what the page needs to price a sale without asking the server."""
        return {
            "code": self.product.code,
            "name": self.product.name,
            "free": self.free,
            "per_case": self.product.pieces_per_case,
            "breaks": [
                {
                    "pieces": row.min_pieces,
                    "piece_cents": row.piece_cents,
                    "case_cents": row.case_cents,
                }
                for row in self.prices.breaks
            ],
        }


def places() -> QuerySet[Place]:
    """Return where a stand sale can be made from: stands first, then the van and the shelves."""
    stores = Place.objects.filter(kind__in=Place.STORES, is_active=True)
    stands_first = Case(When(kind=Place.Kind.STAND, then=0), default=1)
    return stores.order_by(stands_first, "-kind", "name")


def products(place: Place, on: date) -> list[StandProduct]:
    """Return the products sold at the stand, in three queries; lots on hold do not count."""
    free = free_pieces(place)
    return [
        StandProduct(row.product, free.get(row.product.item_id, 0), row)
        for row in prices.price_list(TIER, on).products
        if row.base is not None
    ]


def free_pieces(place: Place) -> dict[int, int]:
    """Return the pieces free for sale at a place, by the key of their item."""
    rows = (
        Balance.objects.filter(place=place, quantity__gt=0)
        .exclude(lot__is_on_hold=True)
        .order_by()
        .values_list("item")
        .annotate(pieces=Sum(F("quantity") - F("reserved")))
    )
    return dict(rows)


def tax_data(on: date) -> dict[str, Any]:
    """Return the tax on jars as the page works it out: in ten-thousandths of a percent."""
    rate = tax.rates_by_goods(TaxRate.objects.in_force(on))[TaxRate.Goods.HONEY]
    return {
        "name": rate.name,
        "parts": int(rate.percent * tax.PARTS_PER_PERCENT),
        "by_line": House.current().tax_rounding == House.Rounding.BY_LINE,
    }


def receipts() -> QuerySet[Invoice]:
    """Return the receipts of the stand, newest first, with their lines and payments."""
    return (
        Invoice.objects.filter(series__startswith=Invoice.RECEIPT_PREFIX)
        .select_related("issued_by", "customer")
        .prefetch_related(
            "lines__fulfilment_line__weighing", "allocations__payment", "credit_notes"
        )
        .order_by("-id")
    )
