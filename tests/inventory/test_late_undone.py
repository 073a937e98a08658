"""Acts that are undone or moved to another day after later entries were told again."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from inventory.bottling.services import (
    jars,
    parts,
    receipt_corrections,
    reversals,
    run_corrections,
)
from inventory.shared.errors import BadValue, CannotReverse, NotAllowedNow
from inventory.stock.models import Posting
from inventory.stock.queries import books
from inventory.stock.services import stores
from tests import builders
from tests.inventory import bottling_room, jar_room
from tests.inventory.test_late_entries import House

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


def test_a_receipt_is_moved_to_today_out_of_a_blend():
    tank = builders.place("tank")
    builders.lot_in(tank, 200_000, extracted_on=ago(20))
    second = builders.lot_in(tank, 100_000, floral_source="Basswood", extracted_on=ago(10))
    builders.lot_in(tank, 50_000, floral_source="Heather", extracted_on=ago(5))

    receipt_corrections.correct(lot=second, came_in_on=ago(0), reason="wrong day", **by())

    assert list(books.faults()) == []
    assert [line.quantity for line in tank.balances.filter(quantity__gt=0)] == [350_000]


def test_an_undone_receipt_that_had_another_day_is_not_corrected():
    tank = builders.place("tank")
    lot = builders.lot_in(tank, 200_000, extracted_on=ago(20))
    receipt_corrections.correct(lot=lot, came_in_on=ago(10), reason="wrong day", **by())
    reversals.reverse(posting=last(Posting.Kind.EXTRACTION), **by())

    with pytest.raises(NotAllowedNow, match="or that entry was undone"):
        receipt_corrections.correct(lot=lot, yard="Hill", reason="wrong yard", **by())


def test_what_came_to_nothing_is_not_undone():
    house = House()
    house.receive(0, "tank", "Clover", 500_000)
    house.run(5, "A", 24, 11_500)
    run = house.runs["A"]
    stores.transfer(
        item=run.product.item,
        lot=run.packed_lot,
        source=house.shelf,
        target=house.stand,
        pieces=24,
        carried_on=house.day(6),
        **by(),
    )
    carried = last(Posting.Kind.TRANSFER)
    run_corrections.correct(run=run, bottled_on=house.day(8), reason="wrong day", **by())

    with pytest.raises(CannotReverse, match="nothing to undo"):
        reversals.reverse(posting=carried, **by())
    assert list(books.faults()) == []


def test_parts_that_were_used_before_more_came_are_not_undone():
    house = House()
    jar = parts.save(name="Jar", kind="jar")

    def receive(pieces: int, days_ago: int) -> None:
        parts.receive(
            part=jar,
            place=house.shelf,
            pieces=pieces,
            cost_cents=100,
            supplier="Glass works",
            received_on=ago(days_ago),
            **by(),
        )

    receive(40, 20)
    first = last(Posting.Kind.PART_RECEIPT)
    stores.write_off(
        item=jar.item,
        lot=None,
        place=house.shelf,
        pieces=15,
        reason="breakage",
        written_off_on=ago(10),
        **by(),
    )
    receive(200, 2)

    with pytest.raises(CannotReverse, match="on a day since then it had only 25 pieces"):
        reversals.reverse(posting=first, **by())


def test_honey_does_not_come_in_after_the_jars_that_are_of_it():
    house = House()
    house.receive(0, "tank", "Clover", 500_000)
    house.run(5, "A", 24, 11_500)
    lot = house.runs["A"].lot

    with pytest.raises(BadValue, match="can't have come in after that") as refused:
        receipt_corrections.correct(lot=lot, came_in_on=house.day(8), reason="wrong day", **by())

    assert refused.value.parameter == "came_in_on"
    lot.refresh_from_db()
    assert lot.made_on == house.day(0)
    assert list(books.faults()) == []


def test_what_was_counted_stays_when_an_entry_before_the_count_is_undone():
    house = House()
    jar = parts.save(name="Jar", kind="jar")

    def receive() -> Posting:
        parts.receive(
            part=jar,
            place=house.shelf,
            pieces=100,
            cost_cents=100,
            supplier="Glass works",
            received_on=ago(10),
            **by(),
        )
        return last(Posting.Kind.PART_RECEIPT)

    receive()
    twice = receive()
    stores.count(
        item=jar.item,
        lot=None,
        place=house.shelf,
        counted=100,
        reason="counted",
        counted_on=ago(5),
        **by(),
    )

    reversals.reverse(posting=twice, **by())

    assert jar.item.balances.get(place=house.shelf).quantity == 100
    assert list(books.faults()) == []
