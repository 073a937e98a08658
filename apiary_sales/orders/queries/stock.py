"""Stock as selling sees it, by size and product: there, promised, coming, and for how long."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property, reduce
from operator import add
from typing import Any

from django.db.models import QuerySet, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.orders.models import Order, OrderLine, Reservation
from apiary_sales.orders.rules import cover
from apiary_sales.orders.rules.cover import SeasonSales
from apiary_sales.pricing import sales_sources
from inventory.bottling.models import BottlingRun, Product, Size
from inventory.bottling.queries import packed_stock
from inventory.bottling.queries.packed_stock import ProductStock, SizeStock, StockFigures
from inventory.shared import words
from inventory.stock.models import Item

DAY = timedelta(days=1)
RECENT = timedelta(days=28)
YEAR_DAYS = 365
SEASON_DAYS = cover.YEAR.days


@dataclass(frozen=True)
class PastOfStock:
    """What went of some goods on each day of the last 65 weeks, and when the first was sold.

    Of goods that were sold before these weeks too, the first sale counts as on their first day.
    """

    on: date
    by_day: Mapping[date, int]
    first_sale: date | None
    least: int = cover.PIECES_MIN

    @property
    def lately(self) -> int:
        return sum(much for day, much in self.by_day.items() if self.on - RECENT < day <= self.on)

    @cached_property
    def season(self) -> SeasonSales | None:
        return cover.season_of(self.by_day, self.first_sale, on=self.on, least=self.least)

    def __add__(self, other: "PastOfStock") -> "PastOfStock":
        both = Counter(self.by_day)
        both.update(other.by_day)
        firsts = [day for day in (self.first_sale, other.first_sale) if day]
        return PastOfStock(self.on, both, min(firsts, default=None), self.least)


class PastReading:
    """What went of some products, read once it is asked for: a form of an order never asks."""

    def __init__(self, products: Sequence[Product], on: date) -> None:
        self._products = products
        self._on = on

    @cached_property
    def by_product(self) -> dict[int, PastOfStock]:
        products = [each.pk for each in self._products]
        by_day: dict[int, Counter[date]] = defaultdict(Counter)
        first = cover.first_day_read(self._on)
        rows, sold_before = sales_sources.by_day(products, first, self._on)
        for product, day, much in rows:
            by_day[product][day] += much
        return {
            each.pk: PastOfStock(
                self._on,
                by_day[each.pk],
                first if each.pk in sold_before else min(by_day[each.pk], default=None),
                cover.GRAMS_MIN if each.item.is_weighed else cover.PIECES_MIN,
            )
            for each in self._products
        }


class CoverFigures:
    """How long some stock lasts, as it sold lately and as it sold a year ago."""

    stock: StockFigures
    sold: PastOfStock

    @property
    def sold_lately(self) -> int:
        return self.sold.lately

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
    def season_days(self) -> int | None:
        """Whole days the free pieces last when the coming weeks sell like last year's.

        See `rules.cover`. None where there is no last year, and when they last all 52 weeks.
        """
        season = self.sold.season
        return None if season is None else season.days_of(self.stock.free)

    @property
    def season_cover(self) -> str | None:
        """The same in words; None where there is no last year."""
        if self.sold.season is None:
            return None
        days = self.season_days
        return _("a year or more") if days is None else words.days(days)

    @property
    def differs_by_season(self) -> bool:
        """Whether the season says something else than the last 28 days."""
        if self.sold.season is None:
            return False
        usual = self.days_of_cover
        lasts_usual = usual is None or usual >= SEASON_DAYS
        if self.season_days is None or lasts_usual:
            return (self.season_days is None) != lasts_usual
        return self.season_days != usual

    @property
    def is_short_by_season(self) -> bool:
        """Whether it seems to last four weeks, but does not if they sell like last year's."""
        usual, season = self.days_of_cover, self.season_days
        return (
            season is not None
            and season < RECENT.days
            and (usual is None or usual >= RECENT.days)
            and self.stock.free > 0
        )


class SaleFigures(CoverFigures):
    """The same, and what orders want beyond what is reserved for them."""

    wanted: int

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
    past: PastReading

    @property
    def sold(self) -> PastOfStock:  # type: ignore[override]
        return self.past.by_product[self.product.pk]

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

    @cached_property
    def sold(self) -> PastOfStock:  # type: ignore[override]
        return reduce(add, (each.sold for each in self.products))


@dataclass(frozen=True)
class SizeCover(CoverFigures):
    """How long one size of honey lasts."""

    stock: SizeStock
    sold: PastOfStock

    @property
    def size(self) -> Size:
        return self.stock.size


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


def short_by_season(sizes: Iterable[SizeStock], *, on: date) -> list[SizeCover]:
    """Return the sizes that seem to last, but not if the coming weeks sell like last year's.

    Those that are low already are left out, since they are told anyway; the shortest first.
    """
    found = list(sizes)
    past = PastReading([each.product for size in found for each in size.products], on).by_product
    covers = [
        SizeCover(size, reduce(add, (past[each.product.pk] for each in size.products)))
        for size in found
    ]
    short = [each for each in covers if each.is_short_by_season and not each.stock.is_low]
    return sorted(short, key=lambda each: each.season_days or 0)


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
    # From the open orders, which are few: in the order of the lines, all of them would be read.
    open_orders = Order.objects.filter(status__in=Order.OPEN_STATUSES).order_by()
    open_lines = OrderLine.objects.filter(product__in=products, order__in=open_orders).order_by()
    for product, quantity, filled in open_lines.values_list("product", "quantity", "filled"):
        wanted[product] += quantity - filled
    today = on or timezone.localdate()
    coming = _sums(
        # What is planned for another beekeeper will not be for sale.
        BottlingRun.objects.filter(
            product__in=products, status=BottlingRun.Status.PLANNED, lot__owner=None
        ).values_list("product"),
        "pieces_planned",
    )
    today = on or timezone.localdate()
    past = PastReading([each.product for each in found], today)
    return [
        ProductForSale(
            each,
            wanted=wanted[each.product.pk],
            coming=coming.get(each.product.pk, 0),
            past=past,
        )
        for each in found
    ]


def _sums(rows: QuerySet[Any, Any], column: str) -> dict[int, int]:
    return dict(rows.order_by().annotate(total=Sum(column)))
