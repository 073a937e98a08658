"""What can be sold by weight over the counter: honey in vessels, and goods counted in grams."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import F, Sum

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.queries import weight_prices
from inventory.bottling.models import Product
from inventory.stock.models import Balance, Item, Lot, Place


@dataclass(frozen=True)
class WeightOffer:
    """Honey of one vessel, or goods at the stand: how much is free, and the price of a pound."""

    key: str
    name: str
    free_grams: int
    price_per_pound: Decimal | None
    vessel: Place | None = None
    lot: Lot | None = None
    product: Product | None = None


def offers(place: Place | None, on: date, *, tier: str = Customer.Tier.STAND) -> list[WeightOffer]:
    """Return the free honey by vessel, then the free goods at the place; nothing on hold.

    Without a place the goods of every shelf, stand and van count. In a constant number of queries.
    """
    prices = weight_prices.of_tier(tier, on)
    return [
        *(
            WeightOffer(
                key=f"vessel-{balance.place_id}",
                name=f"{balance.place.name}: {balance.honey_lot.floral_source}",
                free_grams=balance.free,
                price_per_pound=prices.of_honey(balance.honey_lot),
                vessel=balance.place,
                lot=balance.honey_lot,
            )
            for balance in _honey()
        ),
        *(
            WeightOffer(
                key=f"goods-{product.pk}",
                name=product.name,
                free_grams=free,
                price_per_pound=prices.of_product(product),
                product=product,
            )
            for product, free in _goods(place)
        ),
    ]


def offers_at(
    places: Sequence[Place], on: date, *, tier: str = Customer.Tier.STAND
) -> list[tuple[WeightOffer, list[Place]]]:
    """Return the free honey by vessel, sold at each of these places, then the goods with the places
    where they are free; nothing on hold. In a constant number of queries."""
    there = _free_goods(places)
    where = {
        product: [place for place in places if (place.pk, product) in there]
        for _place, product in there
    }
    found = [
        (offer, list(places) if offer.product is None else where[offer.product.item_id])
        for offer in offers(None, on, tier=tier)
        if places and (offer.product is None or offer.product.item_id in where)
    ]
    # Honey first, then what is at the first place.
    order = {place.pk: number for number, place in enumerate(places)}
    return sorted(found, key=lambda row: (row[0].product is not None, order[row[1][0].pk]))


def _free_goods(places: Sequence[Place]) -> dict[tuple[int, int], int]:
    """Return the free grams of goods by weight at each place, by the keys of place and item."""
    rows = (
        Balance.objects.filter(item__is_weighed=True, item__product__kind="goods", place__in=places)
        .exclude(lot__is_on_hold=True)
        .order_by()
        .values_list("place", "item")
        .annotate(grams=Sum(F("quantity") - F("reserved")))
    )
    return {(place, item): grams for place, item, grams in rows if grams > 0}


def _honey() -> list[Balance]:
    return list(
        Balance.objects.filter(
            item__kind=Item.Kind.HONEY,
            place__kind__in=Place.VESSELS,
            place__is_active=True,
            quantity__gt=F("reserved"),
            lot__is_on_hold=False,
        )
        .ours()
        .select_related("place", "lot", "item")
        .order_by("place__name", "id")
    )


def _goods(place: Place | None) -> list[tuple[Product, int]]:
    stores = Balance.objects.filter(item__is_weighed=True, item__product__kind="goods")
    if place is None:
        stores = stores.filter(place__kind__in=Place.STORES, place__is_active=True)
    else:
        stores = stores.filter(place=place)
    free = dict(
        stores.exclude(lot__is_on_hold=True)
        .order_by()
        .values_list("item")
        .annotate(grams=Sum(F("quantity") - F("reserved")))
    )
    products = Product.objects.sold_by_weight().filter(item__in=free).order_by("name")
    return [(product, free[product.item_id]) for product in products if free[product.item_id] > 0]
