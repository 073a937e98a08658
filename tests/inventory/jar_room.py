"""Jars on a shelf for tests of what they may become: two products of one size, and a gift box."""

from dataclasses import dataclass
from decimal import Decimal

from inventory.bottling.models import Brand, PackagingPart, Product, Variety
from inventory.bottling.services import gift_boxes, products
from inventory.bottling.services.gift_boxes import BoxLine
from inventory.bottling.services.products import PartUse
from inventory.stock.models import Item, Lot, Place
from inventory.stock.services import ledger
from tests import builders
from tests.inventory import bottling_room
from tests.inventory.bottling_room import Room


@dataclass
class JarRoom:
    room: Room
    unlabelled: Product
    own: Product
    branded: Product
    own_label: PackagingPart
    brand_label: PackagingPart
    pail: Place

    @property
    def shelf(self) -> Place:
        return self.room.shelf


def set_up(*, labels: int = 500, cost_cents: int | None = 100_000) -> JarRoom:
    """The bottling room with 20 cent labels of the house, 30 cent ones of a shop, and a pail."""
    room = bottling_room.set_up(cost_cents=cost_cents)
    own_label = builders.part("House label", PackagingPart.Kind.LABEL)
    brand_label = builders.part("Shop label", PackagingPart.Kind.LABEL)
    builders.made_of(room.size, own_label)
    if labels:
        bottling_room.receive(own_label, room.shelf, labels, 20 * labels)
        bottling_room.receive(brand_label, room.shelf, labels, 30 * labels)
    branded = products.save_honey(
        size=room.size,
        brand=Brand.objects.create(name="Harrow Lane"),
        parts=[PartUse(brand_label)],
    )
    return JarRoom(
        room=room,
        unlabelled=products.unlabelled(product=room.product),
        own=room.product,
        branded=branded,
        own_label=own_label,
        brand_label=brand_label,
        pail=builders.place("pail", Place.Kind.PAIL, name="Pail", capacity_litres=Decimal(60)),
    )


def buckwheat(jars: JarRoom) -> Product:
    variety = Variety.objects.create(name="Buckwheat", floral_source="Buckwheat")
    return products.save_honey(size=jars.room.size, variety=variety)


def candles(place: Place, pieces: int = 40, *, cents_each: int | None = 250) -> Lot:
    """Put beeswax candles on a shelf as a lot of other goods."""
    item = Item.objects.create(kind=Item.Kind.GOODS, name="Candle")
    product = Product.objects.create(
        item=item, kind=Product.Kind.GOODS, code="candle", name="Candle", form=""
    )
    lot = Lot.objects.create(
        kind=Lot.Kind.GOODS,
        code="C1",
        season=2026,
        made_on=builders.today(),
        quantity_made=pieces,
        cost_cents=None if cents_each is None else cents_each * pieces,
        product=product,
    )
    ledger.post(
        kind="part_receipt",
        lines=ledger.move(
            item=item,
            lot=lot,
            source=Place.objects.outside(Place.Kind.SUPPLIER),
            target=place,
            quantity=pieces,
        ),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    return lot


def box(jars: JarRoom, *, candle: Product | None = None, of_own: int = 2) -> Product:
    """A box of two jars, and a candle where there is one, in a carton of 80 cents."""
    carton = builders.part("Carton", PackagingPart.Kind.OTHER)
    bottling_room.receive(carton, jars.shelf, 50, 80 * 50)
    contents = [BoxLine(jars.own, of_own)]
    if candle:
        contents.append(BoxLine(candle))
    return gift_boxes.save(name="Winter box", contents=contents, parts=[PartUse(carton)])


def sell(lot: Lot, place: Place, pieces: int):
    product = lot.product
    assert product
    return ledger.post(
        kind="sale",
        lines=ledger.move(
            item=product.item,
            lot=lot,
            source=place,
            target=Place.objects.outside(Place.Kind.CUSTOMER),
            quantity=pieces,
        ),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
