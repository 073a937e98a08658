"""Find products, places and customers by what people call them, reading each table once."""

from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any

from apiary_sales.customers.models import Customer
from apiary_sales.imports.models import Import
from apiary_sales.imports.rules.cells import Writing
from apiary_sales.imports.rules.columns import CellKind, folded
from inventory.bottling.models import Product
from inventory.shared import conventions
from inventory.stock.models import Place


class Finders:
    """What is there to be named in a list, by folded name; read when first asked for."""

    @cached_property
    def products(self) -> dict[str, Product]:
        found: dict[str, Product] = {}
        for product in Product.objects.select_related("item", "size"):
            found[folded(product.name)] = product
            found.setdefault(folded(product.code), product)
            if product.gtin:
                # Programs write the same number with and without zeros before it.
                found.setdefault(product.gtin.lstrip("0"), product)
        return found

    @cached_property
    def places(self) -> dict[str, Place]:
        found: dict[str, Place] = {}
        for place in Place.objects.filter(kind__in=[*Place.VESSELS, *Place.STORES]):
            found.setdefault(folded(place.name), place)
            found[folded(place.code)] = place
        return found

    @cached_property
    def customers(self) -> dict[str, Customer]:
        return {folded(customer.name): customer for customer in Customer.objects.all()}

    def product(self, text: str) -> Product | None:
        """Return the product of a name, short name or GTIN."""
        digits = text.strip().lstrip("0")
        return self.products.get(folded(text)) or self.products.get(digits)

    def by_kind(self) -> Mapping[CellKind, Callable[[str], Any]]:
        """Return how what is named in a cell of each kind is found."""
        return {
            CellKind.PRODUCT: self.product,
            CellKind.PLACE: lambda text: self.places.get(folded(text)),
            CellKind.CUSTOMER: lambda text: self.customers.get(folded(text)),
        }


def writing_of(begun: Import) -> Writing:
    """Return how the list of an import is written, and how what it names is found."""
    return Writing(
        decimal_sign=begun.decimal_sign,
        day_order=begun.day_order,
        weight_unit=conventions.current().weight_unit,
        finders=Finders().by_kind(),
    )
