"""What is on the shelves of shops: how much of which lot, since when, and at what price."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.db.models import QuerySet
from django.utils import timezone

from apiary_sales.customers.models import Customer
from apiary_sales.orders.trade_models import (
    ConsignmentDelivery,
    ConsignmentPrice,
    ConsignmentShelf,
)
from apiary_sales.pricing.models import priced_products
from apiary_sales.pricing.rules import private_labels
from inventory.bottling.models import Product
from inventory.bottling.queries import packed_costs
from inventory.stock.models import Balance, Item, Lot, Place, PostingLine


@dataclass(frozen=True)
class ShelfLot:
    """Pieces of one lot on a shop's shelf.

    `since` is the day on which the oldest of them came, where the shop sells those first.
    """

    lot: Lot
    product: Product
    pieces: int
    since: date
    unit_price: Decimal | None
    unit_cost_cents: Fraction | None

    @property
    def days(self) -> int:
        return (timezone.localdate() - self.since).days

    @property
    def value_cents(self) -> int | None:
        """What these pieces cost, as the pages of stock show it; None while it is unknown."""
        if self.unit_cost_cents is None:
            return None
        return round(self.unit_cost_cents * self.pieces)


@dataclass(frozen=True)
class ShelfContents:
    """A shop's shelf and what is on it, by product and oldest lot first."""

    shelf: ConsignmentShelf
    rows: list[ShelfLot] = field(default_factory=list)

    @property
    def pieces(self) -> int:
        return sum(row.pieces for row in self.rows)

    @property
    def oldest(self) -> date | None:
        return min((row.since for row in self.rows), default=None)

    @property
    def value_cents(self) -> int | None:
        """What it all cost; None while the cost of any is unknown."""
        values = [row.value_cents for row in self.rows]
        known = [value for value in values if value is not None]
        return sum(known) if len(known) == len(values) else None

    @property
    def by_product(self) -> dict[Product, int]:
        pieces: dict[Product, int] = defaultdict(int)
        for row in self.rows:
            pieces[row.product] += row.pieces
        return dict(pieces)


def shelves() -> QuerySet[ConsignmentShelf]:
    """Return every shop's shelf with its place and customer."""
    return ConsignmentShelf.objects.select_related("place", "customer").prefetch_related("prices")


def of_customer(customer: Customer) -> QuerySet[ConsignmentShelf]:
    return shelves().filter(customer=customer)


def contents(found: Iterable[ConsignmentShelf]) -> list[ShelfContents]:
    """Return what is on these shelves, in a constant number of queries."""
    found = list(found)
    places = [shelf.place_id for shelf in found]
    balances = list(
        Balance.objects.filter(place__in=places, quantity__gt=0, lot__product__isnull=False)
        .select_related("lot__product__item", "lot__product__size", "lot__owner")
        .order_by("lot__product__name", "lot__best_by", "lot__made_on", "lot_id")
    )
    costs = packed_costs.unit_costs_cents(balance.honey_lot for balance in balances)
    since = _since(places, balances)
    prices = {shelf.place_id: price_by_product(shelf) for shelf in found}
    rows: dict[int, list[ShelfLot]] = defaultdict(list)
    for balance in balances:
        lot = balance.honey_lot
        product = lot.product
        if product is None:
            continue
        rows[balance.place_id].append(
            ShelfLot(
                lot,
                product,
                balance.quantity,
                since[balance.place_id, lot.pk],
                prices[balance.place_id].get(product.pk),
                costs.get(lot),
            )
        )
    return [ShelfContents(shelf, rows[shelf.place_id]) for shelf in found]


def price_by_product(shelf: ConsignmentShelf, on: date | None = None) -> dict[int, Decimal]:
    """Return the agreed price of each product on a day, by its key."""
    on = on or timezone.localdate()
    return {
        price.product_id: price.unit_price
        for price in sorted(shelf.prices.all(), key=lambda price: price.valid_from)
        if price.valid_from <= on
    }


def prices(shelf: ConsignmentShelf) -> list[ConsignmentPrice]:
    """Return the prices of a shelf that count today or later, by product."""
    today, newest, later = timezone.localdate(), {}, []
    for price in shelf.prices.select_related("product").order_by("product__name", "valid_from"):
        if price.valid_from <= today:
            newest[price.product_id] = price
        else:
            later.append(price)
    return sorted(
        [*newest.values(), *later], key=lambda price: (str(price.product), price.valid_from)
    )


def deliveries(shelf: ConsignmentShelf | None = None) -> QuerySet[ConsignmentDelivery]:
    """Return deliveries to shops newest first, with their lines."""
    found = ConsignmentDelivery.objects.select_related(
        "shelf__place", "shelf__customer", "posting__reversed_by", "created_by"
    ).prefetch_related("lines__product__item")
    return found.filter(shelf=shelf) if shelf else found


def planned() -> QuerySet[ConsignmentDelivery]:
    return (
        deliveries().filter(status=ConsignmentDelivery.Status.PLANNED).order_by("planned_on", "id")
    )


def carried(delivery: ConsignmentDelivery) -> list[PostingLine]:
    """Return what a delivery brought to the shelf, by lot; empty before it did."""
    if delivery.posting_id is None:
        return []
    return list(
        PostingLine.objects.filter(posting=delivery.posting_id, place=delivery.shelf.place)
        .select_related("item", "lot__product")
        .order_by("item__name", "lot__best_by", "id")
    )


def products_for(shelf: ConsignmentShelf) -> list[Product]:
    """Return what may be brought to a shelf: all that has a piece price but labels of others."""
    return [
        product
        for product in priced_products().select_related("item", "size")
        if private_labels.customer_of(product) in (None, shelf.customer)
    ]


def free_pieces(items: Iterable[Item]) -> dict[int, int]:
    """Return how many pieces of each item can be carried to shops now, by the key of the item."""
    free: dict[int, int] = defaultdict(int)
    for balance in free_balances(items):
        free[balance.item_id] += balance.free
    return dict(free)


def free_balances(items: Iterable[Item]) -> list[Balance]:
    """Return what is free of these items in stores, oldest lot first, as a delivery takes it."""
    return [
        balance
        for balance in Balance.objects.in_stores()
        .ours()
        .filter(item__in=list(items), place__is_active=True)
        .exclude(lot__is_on_hold=True)
        .exclude(lot__ready_on__gt=timezone.localdate())
        .select_related("item", "place", "lot__product")
        .order_by("lot__best_by", "lot__made_on", "lot_id", "place_id")
        if balance.free > 0
    ]


def holders(places: Iterable[Place]) -> dict[int, Customer]:
    """Return the shop that has a place on its premises, by the key of the place."""
    found = ConsignmentShelf.objects.filter(place__in=list(places)).select_related("customer")
    return {shelf.place_id: shelf.customer for shelf in found}


def _since(places: list[int], balances: list[Balance]) -> dict[tuple[int, int], date]:
    """Return the day on which the oldest pieces still there came, by place and lot."""
    left = {(row.place_id, row.lot_id): row.quantity for row in balances if row.lot_id}
    since: dict[tuple[int, int], date] = {}
    arrivals = (
        PostingLine.objects.standing()
        .filter(place__in=places, lot__in={lot for _place, lot in left}, quantity__gt=0)
        .order_by("-posting__occurred_at", "-id")
        .values_list("place", "lot", "quantity", "posting__occurred_at")
    )
    for place, lot, quantity, moment in arrivals:
        if left.get((place, lot), 0) > 0:
            left[place, lot] -= quantity
            since[place, lot] = timezone.localdate(moment)
    return since
