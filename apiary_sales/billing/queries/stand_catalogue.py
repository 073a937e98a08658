"""All that the stand page needs to sell without asking the server: for every place at once."""

from collections.abc import Iterable
from dataclasses import asdict
from datetime import date, timedelta
from typing import Any

from django.db.models import Exists, OuterRef, Q, Sum
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.formats import get_format
from django.utils.translation import gettext as _

from apiary_sales.accounts.queries import Seller
from apiary_sales.billing.models import HandedInSale, StandSale
from apiary_sales.billing.queries import stand, stand_pickups, stand_takings
from apiary_sales.billing.queries.stand import PiecesThere, StandOffer
from apiary_sales.billing.queries.stand_takings import PlaceTaken
from apiary_sales.orders.models import Fulfilment, FulfilmentLine, Order, OrderLine
from apiary_sales.orders.queries import by_weight
from apiary_sales.pricing.models import TaxRate
from inventory.shared import conventions, weights
from inventory.shared.money import with_currency

# What sold most in so many days comes first.
FAVOURITES = timedelta(days=60)
# Longer than devices keep what was settled.
KEPT_ON_DEVICES = timedelta(days=7)


def catalogue(offer: StandOffer, sellers: Iterable[Seller]) -> dict[str, Any]:
    """Return places, products with price and stock, sellers, takings and addresses, as JSON.

    In a constant number of queries. Nothing in it depends on who is signed in, but for the places
    of the offer. Amounts are whole cents, prices by weight decimals as text.
    """
    now = timezone.now()
    places, on = offer.places, offer.on
    taken = stand_takings.taken_at(places, on)
    groups = stand.groups_of_places(places)
    return {
        "made_at": now.isoformat(),
        "language": translation.get_language(),
        "money": _money(),
        "tax": stand.tax_data(offer.tax),
        "sellers": [asdict(seller) for seller in sellers],
        "places": [
            {
                "code": place.code,
                "name": place.name,
                "kind": place.kind,
                "group": groups.get(place.pk, ""),
                "held": [
                    _("%(much)s of %(what)s on hold: %(reason)s")
                    % {"much": each.much, "what": each.item, "reason": each.reason}
                    for each in offer.held
                    if each.place == place
                ],
                "today": _today(taken[place.pk]),
            }
            for place in places
        ],
        # Of what devices gave to the office: these are among the takings after all.
        "handed_in_booked": _handed_in_booked(on),
        "products": _products(offer),
        "weighed": _weighed(offer),
        "pickups": [pickup.as_data() for pickup in stand_pickups.waiting(taxed=offer.tax)],
        "urls": {
            "data": reverse("billing:stand_data"),
            "sales": reverse("billing:stand_sales"),
            "undo": reverse("billing:stand_undo"),
            "handed_in": reverse("billing:stand_handed_in"),
            "seller": reverse("billing:stand_seller"),
            "worker": reverse("billing:stand_worker"),
            "scope": reverse("web:today"),
            "receipts": reverse("billing:receipt_list"),
            "pickups": reverse("billing:stand_pickups"),
            "weight": reverse("billing:stand_weight"),
            "sign_in": reverse("accounts:sign_in"),
        },
    }


def _today(taken: PlaceTaken) -> dict[str, Any]:
    return {
        "sales": taken.sales,
        "cents": taken.cents,
        "on_top_cents": taken.on_top_cents,
        "methods": taken.methods,
    }


def _money() -> dict[str, Any]:
    """Return how the house writes money, what is around a figure and its signs, and its coins."""
    before, _digit, after = with_currency("0").partition("0")
    return {
        "before": before,
        "after": after,
        "decimal": get_format("DECIMAL_SEPARATOR"),
        "group": get_format("THOUSAND_SEPARATOR"),
        "coin_cents": conventions.current().smallest_coin_cents,
    }


def _products(offer: StandOffer) -> list[dict[str, Any]]:
    sold = _sold_lately(offer.on)
    listed = []
    for row in offer.priced:
        product = row.product
        listed.append(
            {
                "code": product.code,
                "name": product.name,
                "kind": product.kind,
                "variety": product.variety.name if product.variety else "",
                "variety_id": product.variety_id,
                "gtin": product.gtin,
                "per_case": product.pieces_per_case,
                "taxed_as": offer.tax.class_of(product).value,
                "breaks": [
                    {
                        "pieces": each.min_pieces,
                        "piece_cents": each.piece_cents,
                        "case_cents": each.case_cents,
                    }
                    for each in row.breaks
                ],
                "sold": sold.get(product.pk, 0),
                "at": {
                    place.code: _at(offer.there.get((place.pk, product.item_id), PiecesThere()))
                    for place in offer.places
                },
            }
        )
    return listed


def _at(there: PiecesThere) -> dict[str, Any]:
    return {
        "free": there.free or 0,
        "setting": there.setting or 0,
        "ready_on": there.ready_on.isoformat() if there.ready_on else None,
        "held": there.held or 0,
    }


def _sold_lately(on: date) -> dict[int, int]:
    """Return the pieces of each product that stands sold lately."""
    # SQLite would rather go through all lines product by product than join the few of these days.
    lately = Fulfilment.objects.filter(
        order__channel=Order.Channel.STAND, filled_on__gt=on - FAVOURITES
    )
    rows = (
        FulfilmentLine.objects.filter(
            fulfilment__in=lately.values("pk"), order_line__kind=OrderLine.Kind.PACKED
        )
        .order_by()
        .values_list("order_line__product")
        .annotate(pieces=Sum("quantity"))
    )
    return dict(rows)


def _handed_in_booked(on: date) -> list[str]:
    """Return the keys of the sales given to the office lately that are in the books by now."""
    booked = Q(sale__isnull=False) | Exists(StandSale.objects.filter(key=OuterRef("key")))
    lately = HandedInSale.objects.filter(booked, handed_in_at__date__gt=on - KEPT_ON_DEVICES)
    return list(lately.values_list("key", flat=True))


def _weighed(offer: StandOffer) -> list[dict[str, Any]]:
    """Return what can be sold by weight, with the places where it can be."""
    listed = []
    for each, where in by_weight.offers_at(offer.places, offer.on):
        taxed = offer.tax.class_of(each.product) if each.product else TaxRate.Goods.HONEY
        price = each.price_per_pound
        listed.append(
            {
                "key": each.key,
                "name": each.name,
                # Of a unit of weight of the house, which has so many grams.
                "price_per_pound": None if price is None else str(price),
                "unit_grams": str(weights.unit_grams()),
                "taxed_as": taxed.value,
                "places": [place.code for place in where],
            }
        )
    return listed
