"""A house with two products on its shelves, a buyer for each, and full drums."""

from decimal import Decimal

import pytest

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from inventory.stock.models import Balance, Place
from inventory.stock.services import drums
from tests import builders


@pytest.fixture
def shelf(db):
    return builders.place("shelf", Place.Kind.SHELF, name="Shelf")


@pytest.fixture
def stand(db):
    return builders.place("stand", Place.Kind.STAND, name="Stand")


@pytest.fixture
def jars(db):
    return builders.product("One pound", code="1lb")


@pytest.fixture
def shop(db):
    return builders.customer("Corner Grocery")


@pytest.fixture
def packer(db):
    return builders.customer("Prairie Packers", kind="bulk", tier="bulk")


@pytest.fixture
def jar_line(jars):
    """Return a maker of a line of jars at $6.50 a piece."""

    def make(pieces, price="6.50", product=None, **fields):
        return LineWanted(
            kind=OrderLine.Kind.PACKED,
            quantity=pieces,
            unit_price=Decimal(price),
            product=product or jars,
            **fields,
        )

    return make


@pytest.fixture
def full_drum(db, owner, key):
    """Return a maker of a drum filled with 295 kg of its own lot."""

    def make(number, grams=295_000, **lot):
        tank = builders.place(f"tank-{number}", name=f"Tank for {number}")
        builders.lot_in(tank, grams, **lot)
        drum = builders.place(
            f"drum-{number}", Place.Kind.DRUM, name=f"Drum {number}", tare_grams=18_000
        )
        drums.fill(tank=tank, drum=drum, gross_grams=18_000 + grams, recorded_by=owner, key=key())
        return drum

    return make


@pytest.fixture
def drum_line():
    """Return a maker of a line of all that is in a drum, at $2.15 a pound."""

    def make(drum, price="2.15", grams=None, **fields):
        there = Balance.objects.in_vessel(drum)
        return LineWanted(
            kind=OrderLine.Kind.HONEY,
            quantity=grams or there.quantity,
            unit_price=Decimal(price),
            drum=drum,
            **fields,
        )

    return make


def charge(kind, quantity, price):
    return LineWanted(kind=kind, quantity=quantity, unit_price=Decimal(price))
