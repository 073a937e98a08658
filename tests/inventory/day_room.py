"""A bottling day for tests: a measured tank of honey and three sizes."""

from dataclasses import dataclass
from decimal import Decimal

from inventory.bottling.models import BottlingDay, BottlingRun, FillCheck, Product
from inventory.bottling.services import bottling_days, fill_checks, runs
from inventory.bottling.services.bottling_days import RowFilled
from inventory.stock.models import Balance, Lot, Place, ProductionSettings
from tests import builders

# A tank one metre wide holds π/4 × 1 m² × 1 mm = 0.785398 L a millimetre.
LITRES_PER_MM = Decimal("0.785398163")


@dataclass
class DayRoom:
    tank: Place
    shelf: Place
    lot: Lot
    half: Product
    pound: Product
    two: Product


def set_up(grams: int = 500_000, *, pattern: str = "L{yy}{ddd}") -> DayRoom:
    """500 kg of clover in a tank one metre wide and high; sizes of a half, one and two pounds."""
    production = ProductionSettings.current()
    production.lot_code_pattern = pattern
    production.save()
    tank = builders.measured_tank("tank-1", name="Tank 1", diameter_mm=1000, length_mm=1000)
    lot = builders.lot_in(tank, grams, cost_cents=1_000_000)
    return DayRoom(
        tank=tank,
        shelf=builders.place("shelf", Place.Kind.SHELF, name="Shelf"),
        lot=lot,
        half=builders.product("Half pound", "0.5", brimful_ml=Decimal(200)),
        pound=builders.product("One pound"),
        two=builders.product("Two pounds", "2", brimful_ml=Decimal(800)),
    )


def rows(room: DayRoom, *pieces: int | None) -> list[RowFilled]:
    """Rows of the half, one and two pound sizes with so many pieces; None leaves a size out."""
    products = (room.half, room.pound, room.two)
    told = zip(products, pieces, strict=False)
    return [RowFilled(product, count) for product, count in told if count is not None]


def record(room: DayRoom, *pieces: int | None, **changes) -> BottlingDay:
    told = {
        "source": room.tank,
        "bottled_on": builders.today(),
        "rows": rows(room, *pieces),
        "target": room.shelf,
        "recorded_by": builders.person("bottling"),
        "key": builders.new_key(),
        "celsius": Decimal(20),
    }
    return bottling_days.record(**(told | changes))


def save(room: DayRoom, *pieces: int | None, by: str = "bottling", **changes) -> BottlingDay:
    told = {
        "source": room.tank,
        "bottled_on": builders.today(),
        "rows": rows(room, *pieces),
        "target": room.shelf,
        "saved_by": builders.person(by),
        "celsius": Decimal(20),
    }
    return bottling_days.save(**(told | changes))


def runs_of(day: BottlingDay) -> list[BottlingRun]:
    return list(BottlingRun.objects.filter(day_rows__day=day).order_by("id"))


def plan(room: DayRoom, product: Product, pieces: int = 100, **changes) -> BottlingRun:
    asked = {
        "product": product,
        "source": room.tank,
        "target": room.shelf,
        "pieces": pieces,
        "planned_for": builders.today(),
        "planned_by": builders.person(),
        "key": builders.new_key(),
    }
    return runs.plan(**(asked | changes))


def in_tank(room: DayRoom) -> int:
    there = Balance.objects.in_vessel(room.tank)
    return there.quantity if there else 0


def weigh(run: BottlingRun, net_grams: str, pieces: int = 3) -> FillCheck:
    """Check the fill of a run: so many pieces of one net weight."""
    return fill_checks.record(
        run=run,
        scheme="us",
        weights_milligrams=[int(Decimal(net_grams) * 1000)] * pieces,
        tare_milligrams=0,
        checked_by=builders.person(),
        key=builders.new_key(),
    )
