"""Honey of another beekeeper for tests: brought in, and packed beside the house's own."""

from datetime import date
from decimal import Decimal

from inventory.stock.models import Lot, Place, Supplier
from inventory.stock.services import others
from inventory.stock.services.arrivals import VesselReceived
from tests import builders
from tests.inventory import bottling_room


def act(service, **told):
    return service(recorded_by=builders.person(), key=builders.new_key(), **told)


def hanna() -> Supplier:
    return builders.supplier(
        "Hanna Birch", Supplier.Kind.BEEKEEPER, phone="555 0142", email="hanna@birch.example"
    )


def bring(owner: Supplier, place: Place, grams: int = 300_000, **changes) -> Lot:
    """Receive honey that comes as honey to be stored or packed, on 10 August 2026."""
    told = {
        "kind": Lot.Kind.STORED,
        "floral_source": "Linden",
        "season": 2026,
        "received_on": date(2026, 8, 10),
        "moisture_percent": Decimal("17.2"),
    }
    vessels = [VesselReceived(place, net_grams=grams)]
    return act(others.receive, owner=owner, vessels=vessels, **(told | changes))


def packed(owner: Supplier, **told) -> tuple[bottling_room.Room, Lot]:
    """Pack 96 jars from 300 kg of theirs in the tank "tank-9", in a room with honey of ours."""
    room = bottling_room.set_up()
    tank = builders.place("tank-9", name="Their tank")
    bring(owner, tank, **told)
    lot = bottling_room.record(bottling_room.plan(room, source=tank)).packed_lot
    assert lot is not None
    return room, lot
