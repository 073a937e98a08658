"""Brands with the customer of those that are private labels, and their products."""

from dataclasses import dataclass

from apiary_sales.customers.models import Customer
from inventory.bottling.models import Brand, Product


@dataclass(frozen=True)
class BrandSold:
    """One brand: who it is sold to, None for everybody, and what there is of it."""

    brand: Brand
    customer: Customer | None
    products: tuple[Product, ...]


def brands() -> list[BrandSold]:
    """Return every brand by name, in two queries."""
    found = Brand.objects.select_related("private_label__customer").prefetch_related("products")
    return [
        BrandSold(brand, label.customer if label else None, tuple(brand.products.all()))
        for brand in found
        for label in [getattr(brand, "private_label", None)]
    ]
