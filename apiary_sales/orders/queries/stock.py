"""Stock as selling sees it, by size and product: there, promised, coming, and for how long."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import F, QuerySet, Sum
from django.db.models.expressions import Combinable
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine, Reservation
from inventory.bottling.models import BottlingRun, Product, Size
from inventory.bottling.queries import packed_stock
from inventory.bottling.queries.packed_stock import ProductStock, SizeStock, StockFigures
from inventory.shared import words
from inventory.stock.models import Item

RECENT = timedelta(days=28)
YEAR_DAYS = 365


class SaleFigures:
    """How long some stock lasts, and what orders want beyond what is reserved for them."""

    stock: StockFigures
    wanted: int
    sold_lately: int

    @property
    def days_of_cover(self) -> int | None:
        """Whole days the free pieces last at the rate of the last 28 days; None without sales."""
        if not self.sold_lately:
            return None
        return int(Decimal(self.stock.free) * RECENT.days / self.sold_lately)

    @property
    def cover(self) -> str | None:
        """The days of cover in words, those beyond a year not counted; None without sales."""
        days = self.days_of_cover
        if days is None:
            return None
        return _("over a year") if days > YEAR_DAYS else words.days(days)

    @property
    def wanted_beyond(self) -> int:
        """Pieces ordered but not reserved. Always 0 unless the data is inconsistent."""
        return max(self.wanted - self.stock.reserved, 0)


@dataclass(frozen=True)
class ProductForSale(SaleFigures):
    """One product: its stock, what orders still want, what runs will bring, and how it sells."""

    stock: ProductStock
    wanted: int
    coming: int
    sold_lately: int

    @property
    def product(self) -> Product:
        return self.stock.product

    @property
    def item(self) -> Item:
        return self.product.item


@dataclass(frozen=True)
class SizeForSale(SaleFigures):
    """One size of honey, whatever its variety and label: each figure is that of its products."""

    stock: SizeStock
    products: tuple[ProductForSale, ...]

    @property
    def size(self) -> Size:
        return self.stock.size

    @property
    def item(self) -> Item:
        """What the size is counted as; all products of a size are counted in pieces."""
        return self.products[0].item

    @property
    def wanted(self) -> int:  # type: ignore[override]
        return sum(each.wanted for each in self.products)

    @property
    def coming(self) -> int:
        return sum(each.coming for each in self.products)

    @property
    def sold_lately(self) -> int:  # type: ignore[override]
        return sum(each.sold_lately for each in self.products)


@dataclass(frozen=True)
class Stock:
    """All that is for sale: honey by size, low ones first; then goods that are no honey."""

    sizes: tuple[SizeForSale, ...]
    others: tuple[ProductForSale, ...]

    @property
    def is_plain(self) -> bool:
        """Whether each size is sold as one product only."""
        return all(size.stock.is_plain for size in self.sizes)

    @property
    def known_cents(self) -> int:
        """What it all cost, as far as it is known."""
        return sum(each.stock.value_cents or 0 for each in self._products)

    @property
    def value_cents(self) -> int | None:
        """What it all cost; None while the cost of any is unknown."""
        values = [each.stock.value_cents for each in self._products]
        return None if None in values else self.known_cents

    @property
    def _products(self) -> list[ProductForSale]:
        return [*(each for size in self.sizes for each in size.products), *self.others]


def everything(*, on: date | None = None) -> Stock:
    """Return every size and product in use or still there, in a constant number of queries."""
    found = products(on=on)
    by_size: dict[Size, list[ProductForSale]] = defaultdict(list)
    for each in found:
        if each.product.size:
            by_size[each.product.size].append(each)
    sizes = [
        SizeForSale(SizeStock(size, tuple(each.stock for each in of_size)), tuple(of_size))
        for size, of_size in by_size.items()
    ]
    return Stock(
        tuple(sorted(sizes, key=lambda each: not each.stock.is_low)),
        tuple(
            sorted(
                (each for each in found if each.product.size is None),
                key=lambda each: not each.stock.is_low,
            )
        ),
    )


def products(*, on: date | None = None) -> list[ProductForSale]:
    """Return every product in use or still there, the smallest size first.

    In a constant number of queries.
    """
    return _for_sale(packed_stock.products(), on)


def of(product: Product, *, on: date | None = None) -> ProductForSale:
    """Return one product."""
    return _for_sale([packed_stock.of(product)], on)[0]


def reserved_for(product: Product) -> list[Reservation]:
    """Return who a product is reserved for, by place and lot."""
    return list(
        Reservation.objects.filter(line__product=product)
        .select_related("line__order__customer", "balance__place", "balance__lot")
        .order_by("line__order__wanted_on", "line__order_id", "balance__place__code", "id")
    )


def planned_runs(product: Product) -> list[BottlingRun]:
    """Return the runs that will fill this product, the next one first."""
    return list(
        BottlingRun.objects.filter(product=product, status=BottlingRun.Status.PLANNED)
        .select_related("source", "target")
        .order_by("planned_for", "id")
    )


def _for_sale(found: list[ProductStock], on: date | None) -> list[ProductForSale]:
    products = [each.product.pk for each in found]
    wanted: dict[int, int] = defaultdict(int)
    for row in OrderLine.objects.filter(
        product__in=products, order__status__in=Order.OPEN_STATUSES
    ).values_list("product", "quantity", "filled"):
        wanted[row[0]] += row[1] - row[2]
    coming = _sums(
        # What is planned for another beekeeper will not be for sale.
        BottlingRun.objects.filter(
            product__in=products, status=BottlingRun.Status.PLANNED, lot__owner=None
        ).values_list("product"),
        "pieces_planned",
    )
    today = on or timezone.localdate()
    sold = _sums(
        FulfilmentLine.objects.not_taken_back()
        .filter(
            order_line__product__in=products,
            fulfilment__filled_on__gt=today - RECENT,
            fulfilment__filled_on__lte=today,
        )
        .values_list("order_line__product"),
        F("quantity") - F("returned"),
    )
    return [
        ProductForSale(
            each,
            wanted=wanted[each.product.pk],
            coming=coming.get(each.product.pk, 0),
            sold_lately=sold.get(each.product.pk, 0),
        )
        for each in found
    ]


def _sums(rows: QuerySet[Any, Any], column: str | Combinable) -> dict[int, int]:
    return dict(rows.order_by().annotate(total=Sum(column)))
