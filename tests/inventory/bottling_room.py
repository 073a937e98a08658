"""A bottling room for tests: honey in a tank, jars with lids and cases, and one run through it."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils import timezone

from inventory.bottling.models import BottlingRun, PackagingPart, Product, Size
from inventory.bottling.services import parts, runs
from inventory.stock.models import Lot, Place
from tests import builders


@dataclass
class Room:
    tank: Place
    shelf: Place
    size: Size
    lot: Lot
    jar: PackagingPart
    lid: PackagingPart
    case: PackagingPart

    @property
    def product(self) -> Product:
        return self.size.standard_product


def set_up(
    grams: int = 200_000,
    *,
    pieces: int = 500,
    cases: int = 50,
    cost_cents: int | None = 100_000,
    received_on: date | None = None,
) -> Room:
    """A tank of clover, and jars, lids and cases of twelve for the one pound size.

    The parts came in today, or on `received_on`.
    """
    tank = builders.place("tank-1", name="Tank 1")
    shelf = builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    lot = builders.lot_in(tank, grams, cost_cents=cost_cents)
    size = builders.size("One pound")
    jar = builders.part("Jar", PackagingPart.Kind.JAR)
    lid = builders.part("Lid", PackagingPart.Kind.LID)
    case = builders.part("Case", PackagingPart.Kind.CASE)
    builders.made_of(size, jar)
    builders.made_of(size, lid)
    builders.made_of(size, case, per_pieces=12)
    for part, count, cents in ((jar, pieces, 60), (lid, pieces, 15), (case, cases, 90)):
        if count:
            receive(part, shelf, count, cents * count, received_on)
    return Room(tank, shelf, size, lot, jar, lid, case)


def receive(
    part: PackagingPart,
    shelf: Place,
    pieces: int,
    cost_cents: int,
    received_on: date | None = None,
):
    return parts.receive(
        part=part,
        place=shelf,
        pieces=pieces,
        cost_cents=cost_cents,
        supplier="Valley Glass",
        received_on=received_on or timezone.localdate(),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )


def plan(room: Room, pieces: int = 96, **changes) -> BottlingRun:
    asked = {
        "product": room.product,
        "source": room.tank,
        "target": room.shelf,
        "pieces": pieces,
        "planned_for": timezone.localdate(),
        "planned_by": builders.person(),
        "key": builders.new_key(),
        "celsius": Decimal(32),
    }
    return runs.plan(**(asked | changes))


def record(run: BottlingRun, **changes) -> BottlingRun:
    """96 filled, 2 broken, 45,000 g drawn of which 500 g were lost, an hour and a half of work."""
    told = {
        "pieces_filled": 96,
        "pieces_broken": 2,
        "drawn_grams": 45_000,
        "drawn_by": BottlingRun.DrawnBy.SCALE,
        "loss_grams": 500,
        "labour_minutes": 90,
        "celsius": Decimal(32),
        "recorded_by": builders.person(),
        "key": builders.new_key(),
    }
    return runs.record(run=run, **(told | changes))


def recorded(room: Room, **changes) -> BottlingRun:
    return record(plan(room), **changes)
