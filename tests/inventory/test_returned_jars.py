"""Jars that came back are kept apart until a named person decides."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from inventory.bottling.models import ReturnedJars
from inventory.bottling.services import jars, returned_jars, reversals
from inventory.shared.errors import BadValue, HouseError, NotAllowedNow, NotEnoughStock
from inventory.stock.models import Balance, Lot, Place
from inventory.stock.queries import books
from inventory.stock.services import stores
from tests import builders
from tests.inventory import bottling_room, forms_room, jar_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def house():
    return jar_room.set_up()


@pytest.fixture
def lot(house):
    return bottling_room.recorded(house.room).packed_lot


@pytest.fixture
def returned(house, lot):
    """Twelve jars of 96 that were in a shop's window."""
    return set_aside(house, lot)


def set_aside(house, lot, pieces=12, reason="In the window of a shop") -> ReturnedJars:
    return returned_jars.set_aside(
        lot=lot,
        place=house.shelf,
        pieces=pieces,
        reason=reason,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )


def release(house, returned, pieces=12, reason="Seal whole, two days away") -> ReturnedJars:
    return returned_jars.release(
        returned=returned,
        pieces=pieces,
        target=house.shelf,
        reason=reason,
        released_by=builders.person("office"),
        key=builders.new_key(),
    )


def write_off(returned, pieces=12) -> ReturnedJars:
    return returned_jars.write_off(
        returned=returned,
        pieces=pieces,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )


def at(lot: Lot, kind: str) -> int:
    found = Balance.objects.filter(lot=lot, place__kind=kind).first()
    return found.quantity if found else 0


def test_jars_kept_apart_are_in_the_house_but_nothing_takes_them(house, lot, returned):
    assert (at(lot, "returned"), at(lot, "shelf")) == (12, 84)
    assert returned.set_aside.kind == "return"
    everywhere = list(Place.objects.filter(kind__in=Place.STORES))
    assert sum(row.free for row in stores.free_at(lot.product.item, everywhere)) == 84
    with pytest.raises(HouseError, match="is not a shelf, stand or van"):
        jars.empty(
            lot=lot,
            place=Place.objects.outside(Place.Kind.RETURNED),
            pieces=1,
            grams=450,
            vessel=house.pail,
            changed_by=builders.person(),
            key=builders.new_key(),
        )
    assert list(books.faults()) == []


def test_spoiled_jars_leave_the_books(lot, returned):
    decided = write_off(returned)

    assert (decided.decision, decided.decided.kind) == ("spoiled", "spoilage")
    assert (at(lot, "returned"), at(lot, "spoiled")) == (0, 12)


def test_released_jars_keep_who_released_them_and_why(house, lot, returned):
    decided = release(house, returned)

    assert (at(lot, "returned"), at(lot, "shelf")) == (0, 96)
    assert decided.decided_by == builders.person("office")
    assert decided.decision_reason == "Seal whole, two days away"


def test_some_are_released_and_the_rest_waits(house, lot, returned):
    release(house, returned, pieces=5)

    rest = ReturnedJars.objects.get(decision="")
    write_off(rest, pieces=7)

    assert (at(lot, "shelf"), at(lot, "spoiled"), at(lot, "returned")) == (89, 7, 0)


def test_a_release_needs_a_reason(house, lot, returned):
    with pytest.raises(BadValue) as refused:
        release(house, returned, reason=" ")

    assert refused.value.message == "Enter why these jars may be sold or used again."
    assert at(lot, "returned") == 12


@pytest.mark.parametrize("pieces", [0, 13])
def test_no_more_is_decided_than_came_back(house, returned, pieces):
    with pytest.raises(BadValue) as refused:
        release(house, returned, pieces=pieces)

    assert refused.value.parameter == "pieces"


def test_what_is_decided_is_decided_once(house, returned):
    release(house, returned)

    with pytest.raises(NotAllowedNow, match="It was decided already"):
        write_off(returned)


def test_no_more_come_back_than_are_there(house, lot):
    with pytest.raises(NotEnoughStock):
        set_aside(house, lot, pieces=97)


def test_undoing_the_decision_lets_it_wait_again(house, lot, returned):
    decided = release(house, returned)

    reversals.reverse(
        posting=decided.decided, recorded_by=builders.person(), key=builders.new_key()
    )

    waiting = ReturnedJars.objects.get()
    assert (waiting.decision, waiting.decided, waiting.decided_by) == ("", None, None)
    assert at(lot, "returned") == 12


def test_a_mistake_frees_the_pieces_where_they_were(house, lot, returned):
    reversal = returned_jars.was_mistake(
        returned=returned, recorded_by=builders.person(), key=builders.new_key()
    )

    assert reversal.reverses == returned.set_aside
    assert (at(lot, "returned"), at(lot, "shelf")) == (0, 96)
    assert not ReturnedJars.objects.exists()
    assert list(books.faults()) == []


def test_what_is_decided_in_part_is_no_mistake_any_more(house, lot, returned):
    release(house, returned, pieces=5)

    with pytest.raises(NotAllowedNow):
        returned_jars.was_mistake(
            returned=ReturnedJars.objects.get(decision=""),
            recorded_by=builders.person(),
            key=builders.new_key(),
        )

    assert at(lot, "returned") == 7


def test_goods_by_weight_are_not_kept_apart_by_the_piece(house):
    comb = forms_room.comb_by_weight()
    lot = forms_room.comb_at(house.shelf, comb, 5_000)

    with pytest.raises(HouseError) as refused:
        set_aside(house, lot, pieces=12)

    assert refused.value.message == (
        "Comb by weight is kept by weight: write off what can't be sold any more."
    )


def days_ago(count: int) -> date:
    return builders.today() - timedelta(days=count)


@pytest.fixture
def earlier_lot(house):
    """96 jars that were filled ten days ago."""
    return bottling_room.recorded(house.room, bottled_on=days_ago(10)).packed_lot


@pytest.fixture
def earlier(house, earlier_lot):
    """Twelve of them that came back five days ago, which is written down today."""
    return returned_jars.set_aside(
        lot=earlier_lot,
        place=house.shelf,
        pieces=12,
        reason="In the window of a shop",
        set_aside_on=days_ago(5),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )


def day_of(posting) -> date:
    return timezone.localdate(posting.occurred_at)


def test_jars_came_back_and_were_decided_about_on_the_days_that_are_given(house, earlier):
    written_off = returned_jars.write_off(
        returned=earlier,
        pieces=4,
        decided_on=days_ago(3),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    released = returned_jars.release(
        returned=ReturnedJars.objects.get(decision=""),
        pieces=8,
        target=house.shelf,
        reason="Seal whole",
        decided_on=days_ago(2),
        released_by=builders.person("office"),
        key=builders.new_key(),
    )

    assert day_of(earlier.set_aside) == days_ago(5)
    assert day_of(written_off.decided) == days_ago(3)
    assert day_of(released.decided) == days_ago(2)


@pytest.mark.parametrize("ago", [6, -1])
def test_a_decision_is_no_earlier_than_the_return_and_no_later_than_today(earlier, ago):
    with pytest.raises(BadValue) as refused:
        returned_jars.write_off(
            returned=earlier,
            pieces=4,
            decided_on=days_ago(ago),
            recorded_by=builders.person(),
            key=builders.new_key(),
        )

    assert refused.value.parameter == "decided_on"


def test_jars_cannot_come_back_tomorrow(house, lot):
    with pytest.raises(BadValue) as refused:
        returned_jars.set_aside(
            lot=lot,
            place=house.shelf,
            pieces=1,
            reason="In the window of a shop",
            set_aside_on=days_ago(-1),
            recorded_by=builders.person(),
            key=builders.new_key(),
        )

    assert refused.value.parameter == "set_aside_on"


def test_the_stand_writes_off_what_came_back_to_a_stand_or_van_alone(house, lot, returned):
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    stores.transfer(
        item=lot.product.item,
        lot=lot,
        source=house.shelf,
        target=stand,
        pieces=12,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    at_stand = returned_jars.set_aside(
        lot=lot,
        place=stand,
        pieces=2,
        reason="Sticky",
        recorded_by=builders.person("stand"),
        key=builders.new_key(),
    )

    def decide(row):
        return returned_jars.write_off(
            returned=row, pieces=2, recorded_by=builders.person("stand"), key=builders.new_key()
        )

    with pytest.raises(BadValue, match="is not a stand or van"):
        decide(returned)
    decide(at_stand)

    assert at(lot, "spoiled") == 2
