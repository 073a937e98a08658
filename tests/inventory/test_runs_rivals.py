"""Two people bottling at once, on a real PostgreSQL."""

import pytest

from inventory.bottling.models import BottlingRun
from inventory.bottling.services import fill_checks, reversals
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.stock.models import Balance, Lot, Shortage
from inventory.stock.queries import books
from tests import builders
from tests.inventory import bottling_room
from tests.rivals import together

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]


def test_of_two_people_who_record_the_same_run_one_does():
    room = bottling_room.set_up()
    run = bottling_room.plan(room)

    outcomes = together(lambda: bottling_room.record(run), lambda: bottling_room.record(run))

    refused = [outcome for outcome in outcomes if isinstance(outcome, HouseError)]
    assert [error.code for error in refused] == ["not_allowed_now"]
    assert Lot.objects.filter(kind=Lot.Kind.PACKED).count() == 1
    assert Balance.objects.in_vessel(room.tank).quantity == 155_000
    assert list(books.faults()) == []


def test_the_same_form_sent_twice_at_once_records_once():
    room = bottling_room.set_up()
    run = bottling_room.plan(room)

    outcomes = together(*[lambda: bottling_room.record(run, key="one-form")] * 3)

    assert sum(isinstance(outcome, AlreadyRecorded) for outcome in outcomes) == 2
    assert Balance.objects.in_vessel(room.tank).quantity == 155_000


def test_two_runs_from_the_same_last_honey_are_both_booked_and_the_rest_is_short():
    """The jars of both are there: 60 kg were in the books, and 45 kg were drawn twice."""
    room = bottling_room.set_up(60_000)
    first, second = bottling_room.plan(room), bottling_room.plan(room)

    outcomes = together(lambda: bottling_room.record(first), lambda: bottling_room.record(second))

    refused = [outcome for outcome in outcomes if isinstance(outcome, HouseError)]
    assert refused == []
    assert Balance.objects.in_vessel(room.tank) is None
    assert Shortage.objects.open().get(item__kind="honey").quantity == 30_000
    assert list(books.faults()) == []


def test_runs_planned_at_once_get_numbers_of_their_own():
    room = bottling_room.set_up()

    together(*[lambda: bottling_room.plan(room, 10)] * 4)

    assert len(set(BottlingRun.objects.values_list("number", flat=True))) == 4


def test_jars_are_not_undone_under_a_check_that_holds_them():
    room = bottling_room.set_up()
    run = bottling_room.recorded(room)

    def check():
        return fill_checks.record(
            run=run,
            scheme="us",
            weights_milligrams=[448_000, 449_000] * 6,
            checked_by=builders.person("bottling"),
            key="check",
        )

    def undo():
        return reversals.reverse(
            posting=run.posting, recorded_by=builders.person("bottling"), key="undo"
        )

    builders.person("bottling")
    together(check, undo)

    run.refresh_from_db()
    assert run.status == BottlingRun.Status.REVERSED
    assert Balance.objects.get(place=room.shelf, lot=run.packed_lot).quantity == 0
    assert list(books.faults()) == []
