"""The stand at a glance, for who sells there: takings, stock, what to bring, what did not fit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count, F, Q, Sum, Window
from django.utils import timezone

from apiary_sales.accounts.models import User
from apiary_sales.billing.models import Payment, SaleMark, StandSale
from apiary_sales.billing.queries import stand, stand_pickups, stand_takings
from apiary_sales.billing.queries.stand_pickups import Pickup
from apiary_sales.billing.queries.stand_takings import PersonTaken
from inventory.bottling.models import Product
from inventory.shared import days
from inventory.stock import own_places
from inventory.stock.models import Balance, Item, Place
from inventory.stock.queries import held_goods, shortages
from inventory.stock.queries.held_goods import HeldGoods
from inventory.stock.queries.shortages import ShortageRow

# What sold in so many days is what should be there for the next ones.
LATELY = timedelta(days=14)
MARKS_SHOWN = 5


@dataclass(frozen=True)
class StandStock:
    """One product at one place; quantities are pieces, or grams of what is kept by weight.

    `bring` is what would fill it up, as far as the shelves have it; `is_on_shelf` says whether they
    have any.
    """

    product: Product
    free: int
    not_for_sale: int
    sold: int
    wanted: int
    bring: int
    is_on_shelf: bool

    @property
    def is_low(self) -> bool:
        return self.free < self.wanted

    @property
    def there_in_words(self) -> str:
        return self.product.item.in_words(self.free)

    @property
    def not_for_sale_in_words(self) -> str:
        return self.product.item.in_words(self.not_for_sale)

    @property
    def sold_in_words(self) -> str:
        return self.product.item.in_words(self.sold)

    @property
    def bring_in_words(self) -> str:
        return self.product.item.in_words(self.bring)


@dataclass(frozen=True)
class StandGlance:
    """One place with its takings of today and its stock, low ones first."""

    place: Place
    sales: int
    cents: int
    on_top_cents: int
    methods: dict[str, int]
    people: list[PersonTaken]
    stock: list[StandStock]

    @property
    def ways(self) -> list[tuple[str, int]]:
        """How it was paid, in words, with the amount."""
        words = dict(Payment.Method.choices)
        return [(str(words[method]), cents) for method, cents in self.methods.items()]

    @property
    def to_bring(self) -> list[StandStock]:
        return [row for row in self.stock if row.bring]

    @property
    def missing(self) -> list[StandStock]:
        """What is low here and of which the shelves have none either."""
        return [row for row in self.stock if row.is_low and not row.is_on_shelf]


@dataclass(frozen=True)
class StandToday:
    glances: list[StandGlance]
    pickups: list[Pickup]
    marked: Sequence[SaleMark]
    marked_count: int
    held_goods: list[HeldGoods]
    shortages: list[ShortageRow]


@dataclass
class _AtPlace:
    free: int = 0
    not_for_sale: int = 0


def of(person: User) -> StandToday:
    """Return the places of a person at a glance, in a constant number of questions."""
    on = timezone.localdate()
    places = list(stand.places(person))
    taken = stand_takings.taken_at(places, on)
    stock = _stock(places, on)
    marks = SaleMark.objects.open().filter(sale__sold_by=person).select_related("sale__receipt")
    # How many there are comes with the few that are shown.
    marked = list(marks.annotate(of=Window(Count("pk")))[:MARKS_SHOWN])
    return StandToday(
        glances=[
            StandGlance(place=place, stock=stock[place.pk], **vars(taken[place.pk]))
            for place in places
        ],
        pickups=stand_pickups.waiting(),
        marked=marked,
        marked_count=marked[0].of if marked else 0,
        held_goods=[row for row in held_goods.in_stores() if own_places.is_own(person, row.place)],
        shortages=[row for row in shortages.open_rows() if row.is_at_stand],
    )


def _stock(places: list[Place], on: date) -> dict[int, list[StandStock]]:
    """Return the goods at each place, and what sold there lately though it is gone; low ones first.

    Places are filled up from the shelves one after the other, so that nothing is brought twice.
    """
    there = _there(Q(place__in=places), on)
    on_shelves = {
        product: row.free
        for (_place, product), row in _there(
            Q(place__kind=Place.Kind.SHELF, place__is_active=True), on, by_place=False
        ).items()
    }
    sold = _sold_lately(places, on)
    products = _products(product for _place, product in {**there, **sold})
    left = dict(on_shelves)
    found: dict[int, list[StandStock]] = {}
    for place in places:
        rows = []
        for key, product in products.items():
            if (place.pk, key) not in there and (place.pk, key) not in sold:
                continue
            here = there.get((place.pk, key), _AtPlace())
            sold_here = sold.get((place.pk, key), 0)
            low = 0 if product.item.is_weighed else product.low_stock_pieces
            wanted = max(sold_here, low)
            bring = max(0, min(wanted - here.free, left.get(key, 0)))
            left[key] = left.get(key, 0) - bring
            rows.append(
                StandStock(
                    product=product,
                    free=here.free,
                    not_for_sale=here.not_for_sale,
                    sold=sold_here,
                    wanted=wanted,
                    bring=bring,
                    is_on_shelf=on_shelves.get(key, 0) > 0,
                )
            )
        found[place.pk] = sorted(rows, key=lambda row: (not row.is_low, row.product.name))
    return found


def _products(keys: Iterable[int]) -> dict[int, Product]:
    return {
        product.pk: product
        for product in Product.objects.filter(pk__in=set(keys)).select_related("item")
    }


def _there(where: Q, on: date, *, by_place: bool = True) -> dict[tuple[int, int], _AtPlace]:
    """Return what is free for sale, and what is there but on hold or still setting."""
    may_be_sold = Q(lot__is_on_hold=False) & (Q(lot__ready_on=None) | Q(lot__ready_on__lte=on))
    rows = (
        Balance.objects.filter(where, quantity__gt=0)
        .filter(item__kind__in=(Item.Kind.PACKED, Item.Kind.GOODS))
        .ours()
        .order_by()
        .values(*(["place"] if by_place else []), "item__product")
        .annotate(
            free=Sum(F("quantity") - F("reserved"), filter=may_be_sold),
            waiting=Sum("quantity", filter=~may_be_sold),
        )
    )
    return {
        (row.get("place", 0), row["item__product"]): _AtPlace(row["free"] or 0, row["waiting"] or 0)
        for row in rows
    }


def _sold_lately(places: list[Place], on: date) -> dict[tuple[int, int], int]:
    """Return how much of each product was sold at each place, by the key of both."""
    line = "receipt__lines__fulfilment_line"
    rows = (
        StandSale.objects.standing()
        .filter(place__in=places, **days.lookups("sold_at", on - LATELY + timedelta(days=1)))
        .exclude(**{f"{line}__order_line__product": None})
        .order_by()
        .values_list("place", f"{line}__order_line__product")
        .annotate(quantity=Sum(f"{line}__quantity"))
    )
    return {(place, product): quantity for place, product, quantity in rows if product}
