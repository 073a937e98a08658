"""A bottling day: one sheet for a vessel and a day, recorded as a run for each row."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from inventory.bottling.models import BottlingDay, BottlingDayRow, BottlingRun
from inventory.bottling.services import bottling_days, products
from inventory.bottling.services.bottling_days import RowFilled
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    HouseError,
    NotAllowedNow,
    SeveralProblems,
)
from inventory.stock.models import Balance, DipReading, Item, Place, Posting, PostingLine, Shortage
from inventory.stock.queries import books
from inventory.stock.services import honey
from tests import builders
from tests.inventory import day_room

pytestmark = pytest.mark.django_db

# A pound to the milligram, as the law defines it.
POUND = Decimal("453.592")


@pytest.fixture
def room():
    return day_room.set_up()


def grams_at(kind: str) -> int:
    place = Place.objects.outside(kind)
    return sum(PostingLine.objects.filter(place=place).values_list("quantity", flat=True))


def test_one_sheet_records_a_run_for_each_size(room):
    day = day_room.record(room, 200, 144, 60)

    runs = day_room.runs_of(day)
    assert [(run.product, run.pieces_filled, run.status) for run in runs] == [
        (room.half, 200, "recorded"),
        (room.pound, 144, "recorded"),
        (room.two, 60, "recorded"),
    ]
    assert day.status == "recorded"
    assert Balance.objects.get(place=room.shelf, item=room.two.item).quantity == 60
    assert list(books.faults()) == []


def test_all_sizes_of_a_day_get_one_code_where_the_pattern_has_no_number(room):
    day = day_room.record(room, 200, 144, 60)

    codes = {run.lot_code for run in day_room.runs_of(day)}
    assert codes == {f"L{builders.today():%y%j}"}


def test_each_size_gets_a_code_of_its_own_where_the_pattern_has_a_number():
    room = day_room.set_up(pattern="L{yy}{ddd}-{n}")

    day = day_room.record(room, 200, 144)

    first = f"L{builders.today():%y%j}"
    assert [run.lot_code for run in day_room.runs_of(day)] == [f"{first}-1", f"{first}-2"]


def test_a_typed_code_is_stamped(room):
    rows = [RowFilled(room.pound, 144, lot_code="CLOVER-7")]

    day = day_room.record(room, rows=rows)

    assert [run.lot_code for run in day_room.runs_of(day)] == ["CLOVER-7"]


def test_a_planned_run_of_the_day_is_recorded_with_its_code(room):
    planned = day_room.plan(room, room.pound, lot_code="PLANNED-1")

    day = day_room.record(room, 200, 144)

    planned.refresh_from_db()
    assert (planned.status, planned.pieces_filled) == ("recorded", 144)
    assert planned in day_room.runs_of(day)
    assert planned.packed_lot.code == "PLANNED-1"
    assert BottlingRun.objects.count() == 2


def test_a_planned_run_keeps_its_code(room):
    run = day_room.plan(room, room.pound, lot_code="PLANNED-1")

    with pytest.raises(BadValue) as refusal:
        day_room.record(room, rows=[RowFilled(room.pound, 144, lot_code="OTHER")])

    assert refusal.value.parameter == "rows.0.lot_code"
    assert refusal.value.message == (
        f"Run {run.number} of that day is planned with lot PLANNED-1, which may be on jars "
        "already. Keep that code, or cancel the run first."
    )


def test_what_two_dips_say_was_drawn_is_shared_out_by_what_the_pieces_hold(room):
    # 450 mm to 285 mm of a tank one metre wide: 165 mm × 0.785398 L = 129.591 L.
    day = day_room.record(room, 200, 100, 100, before_mm=450, after_mm=285)

    before, after = DipReading.objects.order_by("id")
    drawn = before.grams - after.grams
    litres = 165 * day_room.LITRES_PER_MM
    # Honey of 17.4 % weighs about 1.42 kg a litre at 20 °C.
    assert drawn / litres == pytest.approx(1420, abs=8)
    days = {timezone.localdate(reading.read_at) for reading in (before, after)}
    assert days == {builders.today()}
    runs = day_room.runs_of(day)
    assert [run.drawn_by for run in runs] == ["dip"] * 3
    assert sum(run.drawn_grams for run in runs) == drawn
    # 200 halves, 100 pounds and 100 times two pounds are as 1 : 1 : 2.
    half, pound, two = (run.drawn_grams for run in runs)
    assert half == pytest.approx(drawn / 4, abs=1)
    assert pound == pytest.approx(drawn / 4, abs=1)
    assert two == pytest.approx(drawn / 2, abs=1)
    assert {run.loss_grams for run in runs} == {0}
    assert day_room.in_tank(room) == 500_000 - drawn


def test_the_dips_are_kept_and_compared_with_the_books(room):
    day = day_room.record(room, 200, 100, 100, before_mm=450, after_mm=285)

    before, after = day.dip_before, day.dip_after
    assert before.book_grams == 500_000
    assert after.book_grams == day_room.in_tank(room)
    # What the first dip found beyond the books, the second finds too: no run drew it.
    assert after.difference_grams == before.difference_grams


def test_skimmings_are_no_honey_of_the_jars(room):
    day = day_room.record(room, None, 100, before_mm=450, after_mm=406, skimmed_grams=3_000)

    drawn = day.dip_before.grams - day.dip_after.grams - 3_000
    assert [run.drawn_grams for run in day_room.runs_of(day)] == [drawn]
    assert day.skimming.kind == Posting.Kind.SKIMMING
    assert grams_at(Place.Kind.SKIMMINGS) == 3_000
    assert grams_at(Place.Kind.FILLING_LOSS) == 0
    assert day_room.in_tank(room) == 500_000 - drawn - 3_000


def test_two_weights_say_what_was_drawn(room):
    # With the tank's own weight of 80 kg both times.
    day = day_room.record(
        room, None, 100, 50, before_grams=580_000, after_grams=487_000, skimmed_grams=500
    )

    runs = day_room.runs_of(day)
    assert [(run.drawn_by, run.drawn_grams) for run in runs] == [
        ("scale", 46_250),
        ("scale", 46_250),
    ]


def test_without_a_dip_after_the_rows_are_estimated(room):
    day = day_room.record(room, 200, 144, before_mm=350)

    assert [(run.drawn_by, run.drawn_grams) for run in day_room.runs_of(day)] == [
        ("estimated", round(200 * POUND / 2)),
        ("estimated", round(144 * POUND)),
    ]


def test_a_dip_after_alone_is_compared_with_the_books(room):
    day = day_room.record(room, None, 200, after_mm=365)

    (run,) = day_room.runs_of(day)
    assert run.drawn_by == "dip"
    assert run.drawn_grams == 500_000 - day.dip_after.grams


def test_what_other_entries_took_between_the_dips_is_not_drawn_by_the_runs(room):
    pail = builders.place("pail-1", Place.Kind.PAIL, name="Pail 1")
    day_room.save(room, None, 100, before_mm=800)
    honey.transfer(
        source=room.tank,
        target=pail,
        grams=20_000,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    day = day_room.record(room, None, 100, before_mm=800, after_mm=745)

    (run,) = day_room.runs_of(day)
    assert run.drawn_grams == day.dip_before.grams - day.dip_after.grams - 20_000
    assert day.dip_before.book_grams == 500_000


def test_a_sheet_is_kept_half_filled_and_finished_by_another_person(room):
    morning = day_room.save(room, None, 144, before_mm=800, note="Clover first")
    code = morning.rows.get().lot_code

    evening = day_room.save(room, None, 150, 60, by="owner", before_mm=800, after_mm=680)

    assert evening == morning
    assert evening.saved_by == builders.person("owner")
    assert [(row.product, row.pieces_filled) for row in evening.rows.all()] == [
        (room.pound, 150),
        (room.two, 60),
    ]
    assert evening.rows.get(product=room.pound).lot_code == code
    # One dip before, read in the morning.
    assert evening.dip_before == morning.dip_before
    assert DipReading.objects.count() == 1
    assert not BottlingRun.objects.exists()
    assert day_room.in_tank(room) == 500_000


def test_a_row_keeps_the_code_it_was_given_when_the_sheet_was_saved():
    room = day_room.set_up(pattern="L{yy}{ddd}-{n}")
    code = day_room.save(room, rows=[RowFilled(room.pound, 10)]).rows.get().lot_code
    other = day_room.plan(room, room.two)

    rows = [RowFilled(room.pound, 144, lot_code=code)]
    day = day_room.record(room, rows=rows)

    assert [run.lot_code for run in day_room.runs_of(day)] == [code]
    assert other.lot_code != code


def test_the_code_of_a_sheet_is_not_given_again(room):
    tank = builders.place("tank-2", name="Tank 2")
    builders.lot_in(tank, 100_000, floral_source="Lime")
    code = day_room.save(room, rows=[RowFilled(room.pound, 10)]).rows.get().lot_code

    run = day_room.plan(room, room.pound, source=tank)

    assert run.lot_code == f"{code}-2"


def test_a_dip_that_was_mistyped_is_replaced_with_the_books_of_its_moment(room):
    first = day_room.save(room, None, 144, before_mm=900).dip_before

    day = day_room.save(room, None, 144, before_mm=800)

    assert day.dip_before != first
    assert day.dip_before.depth_mm == 800
    assert [reading.depth_mm for reading in DipReading.objects.all()] == [800]


def test_two_people_who_fill_in_one_sheet_notice_each_other(room):
    seen = day_room.save(room, None, 10).version
    day_room.save(room, None, 20, by="owner", version=seen)

    with pytest.raises(NotAllowedNow) as refusal:
        day_room.save(room, None, 30, version=seen)

    assert refusal.value.message.startswith("Owner has saved the sheet of Tank 1")
    assert BottlingDayRow.objects.get(product=room.pound).pieces_filled == 20


def test_all_rows_are_recorded_or_none_and_what_is_wrong_is_named_by_row(room):
    buckwheat = products.save_variety(name="Buckwheat", floral_source="Buckwheat")
    half = products.save_honey(size=room.half.honey_size, variety=buckwheat)
    two = products.save_honey(size=room.two.honey_size, variety=buckwheat)
    rows = [RowFilled(half, 200), RowFilled(room.pound, 144), RowFilled(two, 60)]

    with pytest.raises(SeveralProblems) as refusal:
        day_room.record(room, rows=rows)

    assert [problem.parameter for problem in refusal.value.problems] == [
        "rows.0.variety_is_right",
        "rows.2.variety_is_right",
    ]
    assert not BottlingDay.objects.exists()
    assert not BottlingRun.objects.exists()
    assert day_room.in_tank(room) == 500_000

    confirmed = [replace(row, variety_is_right=True) for row in rows]
    assert len(day_room.runs_of(day_room.record(room, rows=confirmed))) == 3


@pytest.mark.parametrize(
    ("row", "parameter"),
    [
        ({"lot_code": "no code"}, "rows.1.lot_code"),
        ({"pieces_broken": -1}, "rows.1.pieces_broken"),
        ({"pieces_filled": 0}, "rows.1.pieces_filled"),
        ({"labour_minutes": 10**6}, "rows.1.labour_minutes"),
    ],
)
def test_a_bad_figure_of_a_row_names_the_row(room, row, parameter):
    rows = [RowFilled(room.half, 10), replace(RowFilled(room.pound, 144), **row)]

    with pytest.raises(BadValue) as refusal:
        day_room.record(room, rows=rows)

    assert refusal.value.parameter == parameter
    assert not BottlingDay.objects.exists()
    assert day_room.in_tank(room) == 500_000


def test_far_more_honey_than_the_pieces_hold_is_asked_about_at_each_row(room):
    with pytest.raises(SeveralProblems) as refusal:
        day_room.record(room, 100, 100, before_mm=800, after_mm=600)

    assert [problem.parameter for problem in refusal.value.problems] == [
        "rows.0.figures_are_right",
        "rows.1.figures_are_right",
    ]
    assert day_room.in_tank(room) == 500_000


def test_a_dip_after_that_is_not_lower_is_refused(room):
    with pytest.raises(BadValue) as refusal:
        day_room.record(room, None, 100, before_mm=500, after_mm=500)

    assert refusal.value.parameter == "after_mm"


@pytest.mark.parametrize(
    ("changes", "parameter"),
    [
        ({"before_mm": 1001}, "before_mm"),
        ({"before_mm": 800, "after_mm": 1001}, "after_mm"),
        ({"before_mm": 800, "before_grams": 9_000, "after_grams": 8_000}, "before_grams"),
        ({"before_grams": 9_000}, "after_grams"),
        ({"after_grams": 9_000}, "before_grams"),
        ({"skimmed_grams": -1}, "skimmed_grams"),
        ({"skimmed_grams": 500_001}, "skimmed_grams"),
        ({"bottled_on": builders.today() + timedelta(days=1)}, "bottled_on"),
        ({"rows": []}, "rows"),
    ],
)
def test_bad_figures_name_their_field_and_change_nothing(room, changes, parameter):
    with pytest.raises(HouseError) as refusal:
        day_room.record(room, None, 100, **changes)

    assert refusal.value.parameter == parameter
    assert not BottlingDay.objects.exists()
    assert not DipReading.objects.exists()
    assert day_room.in_tank(room) == 500_000


def test_a_row_with_minutes_needs_its_pieces(room):
    rows = [RowFilled(room.pound, 144), RowFilled(room.two, None, labour_minutes=30)]

    with pytest.raises(BadValue) as refusal:
        day_room.record(room, rows=rows)

    assert refusal.value.parameter == "rows.1.pieces_filled"


def test_a_sheet_sent_twice_is_recorded_once(room):
    day = day_room.record(room, None, 144, key="once")

    with pytest.raises(AlreadyRecorded) as repeat:
        day_room.record(room, None, 144, key="once")

    assert repeat.value.made == day
    assert BottlingRun.objects.count() == 1


def test_a_second_sheet_of_the_day_stays_apart_from_the_recorded_one(room):
    first = day_room.record(room, None, 144)

    second = day_room.record(room, None, None, 60)

    assert first != second
    assert [run.product for run in day_room.runs_of(first)] == [room.pound]
    assert [run.product for run in day_room.runs_of(second)] == [room.two]


def test_a_sheet_that_was_thrown_away_leaves_its_dip(room):
    day = day_room.save(room, None, 144, before_mm=800)

    bottling_days.drop(day=day)

    assert not BottlingDay.objects.exists()
    assert DipReading.objects.count() == 1


def test_a_recorded_sheet_is_not_thrown_away(room):
    day = day_room.record(room, None, 144)

    with pytest.raises(NotAllowedNow):
        bottling_days.drop(day=day)


def test_yesterday_can_still_be_written_down(room):
    yesterday = builders.today() - timedelta(days=1)

    day = day_room.record(room, None, 144, bottled_on=yesterday, before_mm=800, after_mm=740)

    (run,) = day_room.runs_of(day)
    assert run.packed_lot.made_on == yesterday
    assert run.lot_code == f"L{yesterday:%y%j}"
    assert timezone.localdate(day.dip_after.read_at) == yesterday


def test_what_was_filled_is_recorded_although_the_books_are_short():
    room = day_room.set_up(20_000)
    jar = builders.part("Jar")
    builders.made_of(room.pound, jar)

    day = day_room.record(room, None, 100, before_mm=70, after_mm=28)

    (run,) = day_room.runs_of(day)
    assert run.drawn_grams == day.dip_before.grams - day.dip_after.grams
    assert run.drawn_grams > 20_000
    assert day_room.in_tank(room) == 0
    assert day.dip_after.book_grams == 0
    short = {shortage.item: shortage.quantity for shortage in Shortage.objects.open()}
    assert short == {Item.objects.honey(): run.drawn_grams - 20_000, jar.item: 100}
    assert list(books.faults()) == []


def test_a_sheet_that_another_person_recorded_meanwhile_is_not_recorded_again(room):
    seen = day_room.save(room, None, 144).version
    day_room.record(room, None, 144, recorded_by=builders.person("owner"))

    with pytest.raises(NotAllowedNow) as refusal:
        day_room.record(room, None, 144, version=seen)

    assert refusal.value.message == "This bottling day was recorded already."
    assert BottlingRun.objects.count() == 1


def test_a_saved_sheet_that_is_sent_twice_is_recorded_once(room):
    seen = day_room.save(room, None, 144).version
    day = day_room.record(room, None, 144, version=seen, key="once")

    with pytest.raises(AlreadyRecorded) as repeat:
        day_room.record(room, None, 144, version=seen, key="once")

    assert repeat.value.made == day
