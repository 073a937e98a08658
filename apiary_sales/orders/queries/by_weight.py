"""What can be sold by weight over the counter: honey in vessels, and goods counted in grams."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import F, Q

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

    Without a place the goods of every shelf, stand and van count. In two queries.
    """
    return _offers(_free(place), on, tier)


def offers_at(
    places: Sequence[Place], on: date, *, tier: str = Customer.Tier.STAND
) -> list[tuple[WeightOffer, list[Place]]]:
    """Return the free honey by vessel, sold at each of these places, then the goods with the places
    in use where they are free; nothing on hold. In two queries."""
    if not places:
        return []
    free = _free(None)
    there = {(row.place_id, row.item_id) for row in free if row.item.kind != Item.Kind.HONEY}
    where = {
        item: [place for place in places if (place.pk, item) in there] for _place, item in there
    }
    found = [
        (offer, list(places) if offer.product is None else where[offer.product.item_id])
        for offer in _offers(free, on, tier)
        if offer.product is None or where[offer.product.item_id]
    ]
    # Honey first, then what is at the first place.
    order = {place.pk: number for number, place in enumerate(places)}
    return sorted(found, key=lambda row: (row[0].product is not None, order[row[1][0].pk]))


def _offers(free: Sequence[Balance], on: date, tier: str) -> list[WeightOffer]:
    prices = weight_prices.of_tier(tier, on)
    honey = (row for row in free if row.item.kind == Item.Kind.HONEY)
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
            for balance in honey
        ),
        *(
            WeightOffer(
                key=f"goods-{product.pk}",
                name=product.name,
                free_grams=grams,
                price_per_pound=prices.of_product(product),
                product=product,
            )
            for product, grams in _goods(free)
        ),
    ]


def _free(place: Place | None) -> list[Balance]:
    """Return what is free of our honey, vessel by vessel, and of goods by weight, lot by lot: at a
    place, or without one in every store that is in use."""
    honey = Q(
        item__kind=Item.Kind.HONEY,
        place__kind__in=Place.VESSELS,
        place__is_active=True,
        lot__owner=None,
    )
    at = Q(place__kind__in=Place.STORES, place__is_active=True) if place is None else Q(place=place)
    goods = at & Q(item__product__in=Product.objects.sold_by_weight())
    return list(
        # That it is in the house and not nothing is in the index; the rest follows from it.
        Balance.objects.filter(honey | goods, is_physical=True, quantity__gt=0)
        .filter(quantity__gt=F("reserved"))
        .exclude(lot__is_on_hold=True)
        .select_related("place", "lot", "item__product")
        .order_by("place__name", "id")
    )


def _goods(free: Sequence[Balance]) -> list[tuple[Product, int]]:
    """Return the free goods by name, each with its grams."""
    products = {row.item_id: row.item.product for row in free if row.item.kind != Item.Kind.HONEY}
    grams = Counter[int]()
    for row in free:
        grams[row.item_id] += row.free
    by_name = sorted(products.items(), key=lambda found: (found[1].name, found[1].pk))
    return [(product, grams[item]) for item, product in by_name]
