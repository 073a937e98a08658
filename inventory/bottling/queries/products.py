"""Products for display: all of them by size, with what is in stock, out of use or not."""

from dataclasses import dataclass

from django.db.models import Count, QuerySet

from inventory.bottling.models import Brand, Product, Size, Variety
from inventory.stock.models import Balance


@dataclass(frozen=True)
class ProductOnList:
    """One product with its pieces in the stores."""

    product: Product
    on_hand: int


@dataclass(frozen=True)
class SizeOnList:
    """One size with all its products, the standard one first."""

    size: Size
    products: tuple[ProductOnList, ...]

    @property
    def is_plain(self) -> bool:
        """Whether there is only the standard product, which says no more than its size."""
        return len(self.products) == 1


@dataclass(frozen=True)
class ProductList:
    """Every product of the house: honey by size, then other goods and gift boxes."""

    sizes: tuple[SizeOnList, ...]
    others: tuple[ProductOnList, ...]

    @property
    def shows_varieties(self) -> bool:
        return any(row.product.variety for row in self._honeys)

    @property
    def shows_forms(self) -> bool:
        return any(row.product.form != Product.Form.LIQUID for row in self._honeys)

    @property
    def shows_brands(self) -> bool:
        return any(row.product.brand for row in self._honeys)

    @property
    def _honeys(self) -> list[ProductOnList]:
        return [row for size in self.sizes for row in size.products]


def product_list() -> ProductList:
    """Return every product: sizes in use first, the smallest first; in two queries."""
    rows = on_list(Product.objects.select_related("item", "size", "variety", "brand"))
    by_size: dict[Size, list[ProductOnList]] = {}
    for row in rows:
        if row.product.size:
            by_size.setdefault(row.product.size, []).append(row)
    sizes = [
        SizeOnList(size, tuple(sorted(found, key=_standard_first)))
        for size, found in by_size.items()
    ]
    return ProductList(
        tuple(sorted(sizes, key=lambda each: not each.size.is_active)),
        tuple(row for row in rows if row.product.size is None),
    )


def on_list(products: QuerySet[Product]) -> list[ProductOnList]:
    """Return products with their stock, in two queries."""
    found = list(products)
    there = Balance.objects.pieces_in_stores(product.item_id for product in found)
    return [ProductOnList(product, there.get(product.item_id, 0)) for product in found]


def in_size(size: Size) -> list[ProductOnList]:
    """Return the products of one size, the standard one first."""
    found = on_list(size.products.select_related("item", "size", "variety", "brand"))
    return sorted(found, key=_standard_first)


def varieties() -> QuerySet[Variety]:
    """Return the varieties, those in use first, each with its `product_count`."""
    return Variety.objects.annotate(product_count=Count("products")).order_by("-is_active", "name")


def brands() -> QuerySet[Brand]:
    """Return the brands, those in use first, each with its `product_count`."""
    return Brand.objects.annotate(product_count=Count("products")).order_by("-is_active", "name")


def _standard_first(row: ProductOnList) -> tuple[bool, bool]:
    return (not row.product.is_standard, not row.product.is_active)
