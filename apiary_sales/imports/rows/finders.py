"""Find products, places and customers by what people call them, reading each table once."""

import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property, lru_cache
from typing import Any

from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.imports.models import Import
from apiary_sales.imports.rules.cells import Writing
from apiary_sales.imports.rules.columns import CellKind
from inventory.bottling.models import Product
from inventory.shared import conventions
from inventory.shared.errors import BadValue
from inventory.stock.models import Place


class Names:
    """Things by what they are called: as it is written first, then without accents and marks."""

    def __init__(self, named: Iterable[tuple[str, Any]]) -> None:
        self._exact: dict[str, Any] = {}
        self._alike: dict[str, list[tuple[str, Any]]] = defaultdict(list)
        for name, thing in named:
            self._exact.setdefault(_as_written(name), thing)
            self._alike[_alike(name)].append((name, thing))

    def find(self, text: str) -> Any:
        """Return the thing of this name, None where there is none.

        Raises `BadValue` where several are written so nearly alike that it may be any of them.
        """
        exact = self._exact.get(_as_written(text))
        if exact is not None:
            return exact
        found = self._alike.get(_alike(text), []) if _alike(text) else []
        if len({thing.pk for _name, thing in found}) > 1:
            raise BadValue(
                _("“%(text)s” may be any of these: %(listed)s. Write the name as it is there.")
                % {"text": text[:60], "listed": ", ".join(name for name, _thing in found)}
            )
        return found[0][1] if found else None


def _as_written(text: str) -> str:
    return " ".join(unicodedata.normalize("NFC", text).casefold().split())


@lru_cache(maxsize=4096)
def _alike(text: str) -> str:
    """Return a name without accents, spaces and marks, but for those between two figures.

    “1.5 lb” is not “15 lb”, and letters of every script are kept.
    """
    apart = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(sign for sign in apart if not unicodedata.combining(sign))
    plain = re.sub(r"(?<=\d)[\W_]+(?=\d)", _between_figures, plain)
    return re.sub(r"(?<!\d)[\W_]|[\W_](?!\d)", "", plain)


def _between_figures(marks: re.Match[str]) -> str:
    for sign, kept in ((".", "."), (",", "."), ("/", "/"), ("\u2044", "/")):
        if sign in marks[0]:
            return kept
    return " "


class Finders:
    """What is there to be named in a list, by its names; read when first asked for."""

    @cached_property
    def _products(self) -> list[Product]:
        return list(Product.objects.select_related("item", "size"))

    @cached_property
    def _product_names(self) -> Names:
        return Names((product.name, product) for product in self._products)

    @cached_property
    def _product_codes(self) -> Names:
        return Names((product.code, product) for product in self._products)

    @cached_property
    def _gtins(self) -> dict[str, Product]:
        # Programs write the same number with and without zeros before it.
        return {product.gtin.lstrip("0"): product for product in self._products if product.gtin}

    @cached_property
    def _places(self) -> list[Place]:
        return list(Place.objects.filter(kind__in=[*Place.VESSELS, *Place.STORES]))

    @cached_property
    def _place_names(self) -> Names:
        return Names((place.name, place) for place in self._places)

    @cached_property
    def _place_codes(self) -> Names:
        return Names((place.code, place) for place in self._places)

    @cached_property
    def _customers(self) -> Names:
        return Names((customer.name, customer) for customer in Customer.objects.all())

    def product(self, text: str) -> Any:
        """Return the product of a name, short name or GTIN."""
        digits = re.sub(r"[\s-]", "", text).lstrip("0")
        return (
            self._product_names.find(text)
            or self._product_codes.find(text)
            or self._gtins.get(digits)
        )

    def place(self, text: str) -> Any:
        """Return the place of a number or name."""
        return self._place_codes.find(text) or self._place_names.find(text)

    def customer(self, text: str) -> Any:
        """Return the customer of a name."""
        return self._customers.find(text)

    def by_kind(self) -> Mapping[CellKind, Callable[[str], Any]]:
        """Return how what is named in a cell of each kind is found."""
        return {
            CellKind.PRODUCT: self.product,
            CellKind.PLACE: self.place,
            CellKind.CUSTOMER: self.customer,
        }


def writing_of(begun: Import) -> Writing:
    """Return how the list of an import is written, and how what it names is found."""
    return Writing(
        decimal_sign=begun.decimal_sign,
        day_order=begun.day_order,
        weight_unit=conventions.current().weight_unit,
        currency=conventions.current().currency,
        finders=Finders().by_kind(),
    )
