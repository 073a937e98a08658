"""Acts that are undone or moved to another day after later entries were told again."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from inventory.bottling.services import (
    jars,
)
from inventory.stock.models import Posting
from inventory.stock.queries import books
from tests import builders
from tests.inventory import bottling_room, jar_room

pytestmark = pytest.mark.django_db


def ago(days: int) -> date:
    return timezone.localdate() - timedelta(days=days)


def by() -> dict:
    return {"recorded_by": builders.person(), "key": builders.new_key()}


def last(kind: str) -> Posting:
    return Posting.objects.filter(kind=kind).latest("pk")


def test_honey_entered_late_goes_under_jars_emptied_since():
    house = jar_room.set_up()
    run = bottling_room.plan(house.room, lot_code="A", without_labels=True)
    packed = bottling_room.record(run).packed_lot
    jars.empty(
        lot=packed,
        place=house.shelf,
        pieces=10,
        grams=4_500,
        vessel=house.pail,
        changed_by=builders.person(),
        key=builders.new_key(),
    )

    builders.lot_in(house.pail, 5_000, floral_source="Basswood", extracted_on=ago(3))

    assert list(books.faults()) == []
    lines = house.pail.balances.filter(quantity__gt=0)
    assert [line.quantity for line in lines] == [9_500]
