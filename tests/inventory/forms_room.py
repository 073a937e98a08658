"""A room for creamed, chunk and comb honey: seed in a pail, comb on the shelf."""

from datetime import date
from decimal import Decimal

from django.utils import timezone

from inventory.bottling.models import BottlingRun, Product, Size
from inventory.bottling.services import comb, products, runs
from inventory.stock.models import Balance, Lot, Place
from tests import builders
from tests.inventory.bottling_room import Room


def honey_of(size: Size, form: str, **fields) -> Product:
    return products.save_honey(size=size, form=form, **fields)


def comb_by_weight(name: str = "Comb by weight") -> Product:
    size = builders.size(f"{name}, size", "1", "kg")
    return honey_of(size, Product.Form.COMB, name=name, is_weighed=True)


def comb_by_piece(name: str = "Comb square", grams: str = "300") -> Product:
    return honey_of(builders.size(f"{name}, size", grams, "g"), Product.Form.COMB, name=name)


def seed_in(
    code: str = "pail-1", grams: int = 10_000, *, cost_cents: int | None = 20_000
) -> tuple[Place, Lot]:
    pail = builders.place(code, Place.Kind.PAIL, name="Seed pail")
    lot = builders.lot_in(
        pail, grams, floral_source="Basswood", moisture_percent="18.4", cost_cents=cost_cents
    )
    return pail, lot


def comb_at(place: Place, product: Product, quantity: int, **changes) -> Lot:
    told = {
        "product": product,
        "place": place,
        "quantity": quantity,
        "season": 2026,
        "floral_source": "Basswood",
        "harvested_on": date(2026, 8, 1),
        "recorded_by": builders.person(),
        "key": builders.new_key(),
    }
    return comb.receive(**(told | changes))


def plan(room: Room, product: Product, pieces: int = 10, **changes) -> BottlingRun:
    told = {
        "product": product,
        "source": room.tank,
        "target": room.shelf,
        "pieces": pieces,
        "planned_for": timezone.localdate(),
        "planned_by": builders.person(),
        "key": builders.new_key(),
        "celsius": Decimal(32),
    }
    return runs.plan(**(told | changes))


def record(run: BottlingRun, **changes) -> BottlingRun:
    told = {
        "pieces_filled": 10,
        "pieces_broken": 0,
        "drawn_grams": 4_500,
        "drawn_by": BottlingRun.DrawnBy.SCALE,
        "loss_grams": 0,
        "labour_minutes": None,
        "celsius": None,
        "recorded_by": builders.person(),
        "key": builders.new_key(),
    }
    return runs.record(run=run, **(told | changes))


def creamed(room: Room, **changes) -> BottlingRun:
    """A planned run of ten one-pound jars of creamed honey with a tenth of seed."""
    if "seed_source" not in changes:
        changes["seed_source"] = seed_in()[0]
    product = honey_of(room.size, Product.Form.CREAMED)
    return plan(room, product, **({"seed_percent": Decimal(10)} | changes))


def there(lot: Lot, place: Place) -> int:
    balance = Balance.objects.filter(lot=lot, place=place).first()
    return balance.quantity if balance else 0
