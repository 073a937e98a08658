"""What the stand page shows: products with their price and stock, and what was sold lately."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Case, Exists, F, Min, OuterRef, Q, QuerySet, Sum, When
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice, StandDay, StandDayClose
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import GoodsCategory, ProductTax, TaxRate
from apiary_sales.pricing.queries import prices
from apiary_sales.pricing.rules import tax
from apiary_sales.pricing.rules.prices import PricesOfProduct
from inventory.bottling.models import Product
from inventory.shared import conventions
from inventory.shared.models import House
from inventory.shared.people import Person
from inventory.stock import own_places
from inventory.stock.models import Balance, Place
from inventory.stock.queries import held_goods
from inventory.stock.queries.held_goods import HeldGoods

TIER = Customer.Tier.STAND


@dataclass(frozen=True)
class StandProduct:
    """A product that has a stand price, with the pieces free for sale at the stand."""

    product: Product
    free: int
    prices: PricesOfProduct
    taxed_as: TaxRate.Goods
    # Creamed honey that is here and not ready yet, and the day the first of it is.
    setting: int = 0
    ready_on: date | None = None

    @property
    def piece_cents(self) -> int | None:
        return self.prices.breaks[0].piece_cents


def places(person: Person) -> QuerySet[Place]:
    """Return where a person may sell from: where they opened today's drawer, then stands, vans and
    shelves, and honesty boxes at the end.

    The first is where the till opens, and nobody stands at a honesty box.
    """
    stores = Place.objects.filter(kind__in=Place.STORES, is_active=True)
    drawers = StandDay.objects.filter(
        ~Exists(StandDayClose.objects.filter(stand_day=OuterRef("pk"), undone_on=None)),
        place=OuterRef("pk"),
        day=timezone.localdate(),
        opened_by=person.pk,
    )
    rank = Case(
        When(Exists(drawers), then=0),
        When(honesty_box__is_active=True, then=4),
        When(kind=Place.Kind.STAND, then=1),
        When(kind=Place.Kind.VAN, then=2),
        default=3,
    )
    return (
        own_places.of(person, stores).select_related("honesty_box").order_by(rank, "name", "code")
    )


def chosen(places: Sequence[Place], code: str | None) -> Place | None:
    """Return the place with this code, or else the first; None without any."""
    return next((place for place in places if place.code == code), places[0] if places else None)


def groups_of_places(places: Collection[Place]) -> dict[int, str]:
    """Return under which heading a place stands in a list; stands and vans need none."""
    shelves, honesty_boxes = _("Shelves"), _("Honesty boxes")
    boxes = [place for place in places if hasattr(place, "honesty_box")]
    others = {place.pk: shelves for place in places if place.kind == Place.Kind.SHELF}
    return others | {place.pk: honesty_boxes for place in boxes if place.honesty_box.is_active}


@dataclass(frozen=True)
class PiecesThere:
    """The pieces of one item at one place: free for sale, those still setting with the day the
    first of them are ready, and those on hold. None and 0 are the same."""

    free: int | None = None
    setting: int | None = None
    ready_on: date | None = None
    held: int | None = None


def pieces_there(places: Collection[Place], on: date) -> dict[tuple[int, int], PiecesThere]:
    """Return the pieces at each place, by the keys of place and item, in one query."""
    setting, held = Q(lot__ready_on__gt=on), Q(lot__is_on_hold=True)
    rows = (
        Balance.objects.filter(place__in=places, quantity__gt=0)
        .ours()
        .order_by()
        .values("place", "item")
        .annotate(
            available=Sum(F("quantity") - F("reserved"), filter=~setting & ~held),
            waiting=Sum("quantity", filter=setting & ~held),
            ready_on=Min("lot__ready_on", filter=setting & ~held),
            held=Sum("quantity", filter=held),
        )
    )
    return {
        (row["place"], row["item"]): PiecesThere(
            row["available"], row["waiting"], row["ready_on"], row["held"]
        )
        for row in rows
    }


def pieces_at(place: Place) -> dict[int, tuple[int | None, int | None, date | None]]:
    """Return the pieces free for sale at a place, those still setting, and the day the first of
    these are ready, by the key of their item."""
    return {
        item: (there.free, there.setting, there.ready_on)
        for (_place, item), there in pieces_there([place], timezone.localdate()).items()
    }


@dataclass(frozen=True)
class TaxAtStand:
    """The taxes of a sale at the stand on a day: what the house says, kinds of goods, products."""

    house: House
    usual: dict[str, tax.Treatment]
    own: dict[int, ProductTax]

    def class_of(self, product: Product) -> TaxRate.Goods:
        return tax.class_of(product, self.own)


def tax_on(on: date) -> TaxAtStand:
    """Return the taxes of a day's sales at the stand. It takes three queries."""
    house = conventions.house()
    usual = tax.treatments(
        TaxRate.objects.in_force(on),
        GoodsCategory.objects.in_force(on),
        deposits_taxed=house.deposits_taxed,
    )
    return TaxAtStand(house, usual, ProductTax.objects.by_product())


@dataclass(frozen=True)
class StandOffer:
    """What is sold on a day at some places, read once for all that shows it.

    Buyers at the stand have no name, so private labels are left out.
    """

    places: Sequence[Place]
    on: date
    priced: list[PricesOfProduct]
    there: dict[tuple[int, int], PiecesThere]
    held: list[HeldGoods]
    tax: TaxAtStand

    def at(self, place: Place) -> list[StandProduct]:
        """Return the products sold at one of the places; lots on hold, or setting, do not count."""
        found = []
        for row in self.priced:
            pieces = self.there.get((place.pk, row.product.item_id), PiecesThere())
            found.append(
                StandProduct(
                    row.product,
                    pieces.free or 0,
                    row,
                    self.tax.class_of(row.product),
                    pieces.setting or 0,
                    pieces.ready_on,
                )
            )
        return found


def offer(places: Sequence[Place], on: date) -> StandOffer:
    """Return what these places sell on a day, in eight queries."""
    priced = prices.price_list(TIER, on).offered_to(None)
    return StandOffer(
        places,
        on,
        [row for row in priced if row.base is not None],
        pieces_there(places, on),
        held_goods.in_stores(),
        tax_on(on),
    )


def tax_data(taxed: TaxAtStand) -> dict[str, Any]:
    """Return the tax on what products are taxed as, as the page works it out.

    Rates are in ten-thousandths of a percent.
    """
    house, usual = taxed.house, taxed.usual
    return {
        "rates": {
            goods.value: {
                "name": usual[goods].rate.name,
                "parts": int(usual[goods].rate.percent * tax.PARTS_PER_PERCENT),
            }
            for goods in tax.CLASSES
        },
        "by_line": house.tax_rounding == House.Rounding.BY_LINE,
        "included": house.prices_include_tax,
    }


def receipts() -> QuerySet[Invoice]:
    """Return the receipts of the stand, newest first, with their lines and payments."""
    return (
        Invoice.objects.filter(series__startswith=Invoice.RECEIPT_PREFIX)
        .select_related("issued_by", "customer")
        .prefetch_related(
            "lines__fulfilment_line__weighing",
            "lines__fulfilment_line__order_line__drum",
            "allocations__payment",
            "credit_notes",
        )
        .order_by("-id")
    )
