"""Honey that nobody measured is estimated, says so, and is settled by one dip or weight."""

from datetime import timedelta
from decimal import Decimal

import pytest

from inventory.bottling.models import EstimateSettlement
from inventory.bottling.rules import estimates as rules
from inventory.bottling.services import estimates
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow
from inventory.stock.models import DipReading, Place
from inventory.stock.queries import books
from inventory.stock.services import honey, stores
from tests import builders
from tests.inventory import bottling_room, day_room

pytestmark = pytest.mark.django_db

POUND = Decimal("453.59237")


@pytest.fixture
def room():
    return day_room.set_up()


def settle(room, **changes):
    told = {
        "source": room.tank,
        "measured_on": builders.today(),
        "settled_by": builders.person("bottling"),
        "key": builders.new_key(),
    }
    return estimates.settle(**(told | changes))


def test_a_run_that_nobody_measured_takes_the_label_weight_of_its_pieces():
    room = bottling_room.set_up()

    run = bottling_room.recorded(room, drawn_grams=None, loss_grams=0)

    # 96 filled and 2 broken of one pound each.
    assert run.drawn_by == "estimated"
    assert run.drawn_grams == round(98 * POUND)
    assert list(books.faults()) == []


def test_the_estimate_has_the_average_overfill_of_the_last_checks():
    room = bottling_room.set_up()
    checked = bottling_room.recorded(room)
    day_room.weigh(checked, "456.592")

    run = bottling_room.recorded(room, drawn_grams=None, loss_grams=400)

    # Each of the 96 as the checked ones; broken ones count at their label weight.
    assert run.drawn_grams == round(96 * Decimal("456.592") + 2 * POUND) + 400
    assert run.loss_grams == 400


def test_an_estimate_leaves_the_vessel_by_the_books():
    room = bottling_room.set_up(100_000)

    run = bottling_room.recorded(room, drawn_grams=None, loss_grams=0)

    assert day_room.in_tank(room) == 100_000 - run.drawn_grams


def test_one_weight_settles_all_runs_of_the_day_in_proportion(room):
    day = day_room.record(room, 200, 100, 100)
    half, pound, two = day_room.runs_of(day)
    estimated = [run.drawn_grams for run in (half, pound, two)]
    drawn = 500_000 - 316_000

    made = settle(room, honey_grams=316_000)

    runs = day_room.runs_of(day)
    assert [run.drawn_by for run in runs] == ["scale"] * 3
    assert sum(run.drawn_grams for run in runs) == drawn
    for run, before in zip(runs, estimated, strict=True):
        assert run.drawn_grams == pytest.approx(before * drawn / sum(estimated), abs=1)
    assert day_room.in_tank(room) == 316_000
    assert made.difference_grams == sum(estimated) - drawn
    assert [settled.estimated_grams for settled in made.settled_runs.all()] == estimated
    assert list(books.faults()) == []


def test_one_dip_settles_and_is_kept_beside_what_should_have_been_left(room):
    day = day_room.record(room, None, 200)
    (run,) = day_room.runs_of(day)
    estimated = run.drawn_grams

    made = settle(room, depth_mm=364, celsius=Decimal(20))

    (reading,) = DipReading.objects.all()
    assert reading == made.dip
    assert reading.book_grams == 500_000 - estimated
    (run,) = day_room.runs_of(day)
    assert (run.drawn_by, run.drawn_grams) == ("dip", 500_000 - reading.grams)
    assert day_room.in_tank(room) == reading.grams


def test_measured_runs_of_the_day_stay(room):
    measured = day_room.plan(room, room.two, 50)
    bottling_room.record(
        measured, pieces_filled=50, pieces_broken=0, drawn_grams=46_000, loss_grams=0
    )
    day_room.record(room, None, 100)

    settle(room, honey_grams=500_000 - 46_000 - 45_900)

    measured.refresh_from_db()
    assert (measured.drawn_by, measured.drawn_grams) == ("scale", 46_000)
    (settled,) = EstimateSettlement.objects.get().settled_runs.all()
    assert settled.drawn_grams == 45_900


def test_what_other_entries_took_is_not_drawn_by_the_runs(room):
    day = day_room.record(room, None, 100)
    pail = builders.place("pail-1", Place.Kind.PAIL, name="Pail 1")
    honey.transfer(
        source=room.tank,
        target=pail,
        grams=20_000,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    settle(room, honey_grams=500_000 - 20_000 - 46_000)

    assert [run.drawn_grams for run in day_room.runs_of(day)] == [46_000]


def test_the_dip_before_says_what_was_there_where_the_books_do_not(room):
    day = day_room.record(room, None, 100, before_mm=450)

    settle(room, honey_grams=day.dip_before.grams - 46_000)

    assert [run.drawn_grams for run in day_room.runs_of(day)] == [46_000]


def test_a_later_dip_settles_the_days_before_too_and_an_earlier_one_only_its_own(room):
    yesterday = builders.today() - timedelta(days=1)
    first = day_room.record(room, None, 100, bottled_on=yesterday)
    second = day_room.record(room, None, 100)

    settle(room, measured_on=yesterday, honey_grams=454_000)

    assert [run.drawn_by for run in day_room.runs_of(first)] == ["scale"]
    assert [run.drawn_grams for run in day_room.runs_of(first)] == [46_000]
    assert [run.drawn_by for run in day_room.runs_of(second)] == ["estimated"]


def test_far_more_than_estimated_is_asked_about(room):
    day_room.record(room, None, 100)

    with pytest.raises(BadValue) as refusal:
        settle(room, honey_grams=440_000)

    assert refusal.value.parameter == "figures_are_right"
    assert not EstimateSettlement.objects.exists()
    assert day_room.in_tank(room) == 500_000 - round(100 * POUND)


@pytest.mark.parametrize(
    ("changes", "parameter"),
    [
        ({}, "depth_mm"),
        ({"depth_mm": 300, "honey_grams": 1}, "honey_grams"),
        ({"depth_mm": 1001}, "depth_mm"),
        ({"honey_grams": 500_000}, "honey_grams"),
        ({"honey_grams": 454_000, "measured_on": builders.today() + timedelta(1)}, "measured_on"),
    ],
)
def test_bad_figures_name_their_field_and_change_nothing(room, changes, parameter):
    day_room.record(room, None, 100)
    left = day_room.in_tank(room)

    with pytest.raises(BadValue) as refusal:
        settle(room, **changes)

    assert refusal.value.parameter == parameter
    assert not EstimateSettlement.objects.exists()
    assert not DipReading.objects.exists()
    assert day_room.in_tank(room) == left


def test_without_an_estimated_run_there_is_nothing_to_settle(room):
    with pytest.raises(NotAllowedNow) as refusal:
        settle(room, honey_grams=400_000)

    assert refusal.value.message.startswith("No run from Tank 1 up to")


def test_a_settlement_sent_twice_acts_once(room):
    day_room.record(room, None, 100)
    settle(room, honey_grams=454_000, key="once")

    with pytest.raises(AlreadyRecorded):
        settle(room, honey_grams=454_000, key="once")

    assert EstimateSettlement.objects.count() == 1


@pytest.mark.parametrize(
    ("total", "weights", "shares"),
    [
        (10, [1, 1, 1], [3, 4, 3]),
        (184_000, [1, 1, 2], [46_000, 46_000, 92_000]),
        (7, [5], [7]),
        (1, [3, 3], [0, 1]),
    ],
)
def test_shares_add_up_to_the_total(total, weights, shares):
    # Half a gram goes to the even neighbour: 0.5 to 0.
    assert rules.share_grams(total, weights) == shares


def test_jars_that_were_given_away_do_not_keep_the_honey_from_being_settled(room):
    day = day_room.record(room, None, 100)
    (run,) = day_room.runs_of(day)
    stores.write_off(
        place=room.shelf,
        item=room.pound.item,
        lot=run.packed_lot,
        pieces=100,
        reason="gift",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    settle(room, honey_grams=454_000)

    (run,) = day_room.runs_of(day)
    assert (run.drawn_grams, run.pieces_filled) == (46_000, 100)
    assert run.packed_lot.parent_links.get().grams == 46_000
    # 46 kg of the 500 kg that cost 10,000.00.
    assert run.honey_cents == 92_000
    assert list(books.faults()) == []


def test_the_seed_of_creamed_honey_is_not_estimated_as_drawn():
    creamed = rules.drawn_grams(50_000, seed_percent=Decimal(10), seed_grams=None, comb_grams=0)
    weighed = rules.drawn_grams(50_000, seed_percent=Decimal(10), seed_grams=4_800, comb_grams=0)
    chunk = rules.drawn_grams(50_000, seed_percent=None, seed_grams=None, comb_grams=12_000)

    assert (creamed, weighed, chunk) == (45_000, 45_200, 38_000)
