"""Small builders with sane defaults: the invented house that the tests are about."""

import itertools
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.utils import timezone
from knox.crypto import hash_token

from apiary_sales.accounts.models import ApiToken, User
from apiary_sales.accounts.services import people
from apiary_sales.billing.services.stand_money import PaymentMade
from apiary_sales.customers.models import Customer, ExemptionCertificate
from inventory.bottling.models import PackagingPart, Product, Size, SizePart
from inventory.bottling.services import goods as goods_service
from inventory.shared import days
from inventory.stock.models import Item, Lot, Place, PostingLine, Supplier
from inventory.stock.services import honey, ledger, places, purchases
from inventory.stock.services.arrivals import VesselReceived

_numbers = itertools.count(1)


def new_key() -> str:
    return f"test-{next(_numbers)}"


def person(role: str = "owner") -> User:
    """Return a person of this role, adding them on first use. Their password is their name."""
    known = User.objects.filter(username=role).first()
    return known or people.add(username=role, name=role.title(), password=role, role=role)


def authorization(role: str = "owner") -> str:
    """Return the Authorization header with which a program of a person of this role asks."""
    text = hash_token(f"a program of {role}")[:64]
    if not ApiToken.objects.filter(digest=hash_token(text)).exists():
        ApiToken.objects.bulk_create(
            [
                ApiToken(
                    digest=hash_token(text),
                    token_key=text[:15],
                    user=person(role),
                    name="Test",
                    scopes=ApiToken.Scopes.READ_WRITE,
                    expiry=timezone.now() + timedelta(days=365),
                    last_used_on=timezone.localdate(),
                )
            ]
        )
    return f"Token {text}"


def place(code: str, kind: str = Place.Kind.TANK, **fields) -> Place:
    return Place.objects.create(code=code, name=fields.pop("name", code), kind=kind, **fields)


def measured_tank(code: str, *, diameter_mm: int, length_mm: int, **fields) -> Place:
    """Make an upright tank with a flat bottom, of these inside measurements."""
    shape = places.Shape(form="upright", diameter_mm=diameter_mm, length_mm=length_mm)
    return places.create(
        kind=Place.Kind.TANK, code=code, name=fields.pop("name", code), shape=shape, **fields
    )


def lot_in(
    place: Place,
    grams: int = 500_000,
    *,
    floral_source: str = "Clover",
    moisture_percent: str = "17.4",
    colour_mm: str | None = "30",
    season: int = 2026,
    cost_cents: int | None = None,
    recorded_by: User | None = None,
    extracted_on: date | None = None,
) -> Lot:
    """Receive an extraction into a vessel and return its lot.

    In July, or today where something is in the books of the vessel already.
    """
    if extracted_on is None:
        is_new = not PostingLine.objects.filter(place=place).exists()
        extracted_on = date(2026, 7, 20) if is_new else timezone.localdate()
    return honey.receive(
        place=place,
        grams=grams,
        season=season,
        floral_source=floral_source,
        extracted_on=extracted_on,
        moisture_percent=Decimal(moisture_percent),
        colour_mm=None if colour_mm is None else Decimal(colour_mm),
        cost_cents=cost_cents,
        recorded_by=recorded_by or person(),
        key=new_key(),
    )


def bought_lot(
    place: Place,
    grams: int = 300_000,
    *,
    country: str = "ES",
    supplier: str = "Olmo Honey",
    cost_cents: int | None = None,
    **facts,
) -> Lot:
    """Receive bought honey into one vessel and return its lot."""
    return purchases.receive(
        supplier=supplier,
        vessels=[VesselReceived(place, net_grams=grams)],
        cost_cents=cost_cents,
        country=country,
        floral_source=facts.pop("floral_source", "Rosemary"),
        season=facts.pop("season", 2026),
        received_on=facts.pop("received_on", date(2026, 9, 1)),
        moisture_percent=Decimal("17.0"),
        recorded_by=person(),
        key=new_key(),
        **facts,
    )


def supplier(name: str = "Olmo Honey", kind: str = Supplier.Kind.PRODUCER, **fields) -> Supplier:
    return Supplier.objects.create(name=name, kind=kind, **fields)


def size(name: str = "One pound", amount: str = "1", unit: str = "lb", **fields) -> Size:
    """Make a size without parts, with its standard product; it fits a pound of honey easily."""
    of_product = {name: fields.pop(name) for name in ("gtin", "low_stock_pieces") if name in fields}
    is_active = fields.pop("is_active", True)
    item = Item.objects.create(kind=Item.Kind.PACKED, name=name)
    fields.setdefault("code", f"size-{item.pk}")
    fields.setdefault("brimful_ml", Decimal("400"))
    made = Size.objects.create(
        name=name,
        declared_amount=Decimal(amount),
        declared_unit=unit,
        is_active=is_active,
        **fields,
    )
    Product.objects.create(item=item, code=made.code, name=name, size=made, **of_product)
    return made


def product(name: str = "One pound", amount: str = "1", unit: str = "lb", **fields) -> Product:
    """Make the standard product of a new size; see `size`."""
    return size(name, amount, unit, **fields).standard_product


def goods(name: str = "Candle", **fields) -> Product:
    """Set up other goods, in pieces unless `is_weighed`."""
    return goods_service.save(name=name, **fields)


def goods_lot(
    product: Product, place: Place, quantity: int = 24, *, cost_cents: int = 0, **fields
) -> Lot:
    """Receive goods from a supplier and return their lot."""
    return goods_service.receive(
        product=product,
        place=place,
        quantity=quantity,
        cost_cents=cost_cents,
        supplier=fields.pop("supplier", "Valley Wax Works"),
        received_on=fields.pop("received_on", today()),
        recorded_by=person(),
        key=new_key(),
        **fields,
    ).lot


def part(name: str = "Jar", kind: str = PackagingPart.Kind.JAR, **fields) -> PackagingPart:
    item = Item.objects.create(kind=Item.Kind.PART, name=name)
    fields.setdefault("code", f"part-{item.pk}")
    return PackagingPart.objects.create(item=item, name=name, kind=kind, **fields)


def made_of(
    what: Size | Product, part: PackagingPart, quantity: int = 1, per_pieces: int = 1
) -> SizePart:
    """Let so many of a part go with the pieces of a size, or of the size of a product."""
    size = what.honey_size if isinstance(what, Product) else what
    return SizePart.objects.create(size=size, part=part, quantity=quantity, per_pieces=per_pieces)


def packed_lot(
    what: Size | Product,
    place: Place,
    pieces: int = 48,
    *,
    code: str | None = None,
    cost_cents: int | None = None,
    best_by: date = date(2028, 7, 31),
    parent: Lot | None = None,
    packed_at: datetime | None = None,
) -> Lot:
    """Put pieces on a shelf by a posting, without going through a bottling run."""
    product = what.standard_product if isinstance(what, Size) else what
    lot = Lot.objects.create(
        kind=Lot.Kind.PACKED,
        code=code or f"L{next(_numbers):05d}",
        season=2026,
        floral_source="Clover",
        made_on=date(2026, 8, 1),
        moisture_percent=Decimal("17.4"),
        colour_mm=Decimal("30"),
        quantity_made=pieces,
        cost_cents=cost_cents,
        product=product,
        best_by=best_by,
    )
    if parent:
        grams = int(product.declared_grams * pieces)
        lot.parent_links.create(parent=parent, grams=grams)
    packing = Place.objects.outside(Place.Kind.PACKING)
    ledger.post(
        kind="bottling",
        lines=ledger.move(
            item=product.item, lot=lot, source=packing, target=place, quantity=pieces
        ),
        recorded_by=person(),
        key=new_key(),
        occurred_at=packed_at or days.past_moment(min(lot.made_on, timezone.localdate())),
    )
    return lot


def customer(name: str = "Corner Grocery", **fields) -> Customer:
    return Customer.objects.create(name=name, **fields)


def certificate(customer: Customer, number: str = "X-1", **fields) -> ExemptionCertificate:
    """Return a certificate that frees a customer from tax since long ago, for resale."""
    given = {"reason": "resale", "valid_from": date(2020, 1, 1), "accepted_by": person()}
    return ExemptionCertificate.objects.create(
        customer=customer, number=number, idempotency_key=new_key(), **(given | fields)
    )


def today() -> date:
    return timezone.localdate()


def paid(method: str = "cash", tendered_cents: int | None = None) -> list[PaymentMade]:
    """One way in which a buyer at the stand paid all of the sale."""
    return [PaymentMade(method, tendered_cents=tendered_cents)]
