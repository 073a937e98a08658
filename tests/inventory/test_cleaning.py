"""The cleaning schedule: when what is due, what may be entered, and what is taken back."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError, NotAllowedNow
from inventory.stock import cleaning_schedule
from inventory.stock.cleaning_schedule import Standing, State
from inventory.stock.models import Cleaning, CleaningTask, Place
from inventory.stock.queries import cleaning as queries
from inventory.stock.services import cleaning, honey, ledger
from tests import builders

TODAY = date(2026, 8, 20)


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


@pytest.fixture
def clean(owner):
    def clean(task: CleaningTask, day: date, **fields) -> Cleaning:
        return cleaning.record(
            task=task,
            cleaned_on=day,
            cleaned_by=fields.pop("cleaned_by", "Bram"),
            cleaned_with=fields.pop("cleaned_with", "hot water"),
            recorded_by=owner,
            key=fields.pop("key", None) or builders.new_key(),
        )

    return clean


def task(name: str = "Room floor", **fields) -> CleaningTask:
    told = {"kind": "room", "schedule": "days", "every_days": 7, **fields}
    if told["schedule"] != "days":
        del told["every_days"]
    return cleaning.save_task(name=name, **told)


def problems(error: HouseError) -> list[tuple[str | None, str]]:
    return [(each.parameter, each.message) for each in error.problems]


def standing_of(task: CleaningTask) -> Standing:
    [row] = [row for row in queries.rows(today=TODAY) if row.task == task]
    return row.standing


# ------------------------------------------------------------------ when it is due


def standing(schedule: str, cleaned: int | None, used: int | None = None, **fields) -> Standing:
    """Return how something is today that was cleaned and used so many days ago."""
    return cleaning_schedule.standing(
        schedule=schedule,
        every_days=7 if schedule == "days" else None,
        cleaned_on=None if cleaned is None else ago(cleaned),
        used_on=None if used is None else ago(used),
        is_full=fields.get("is_full", False),
        today=TODAY,
    )


@pytest.mark.parametrize(
    ("cleaned", "expected"),
    [
        (None, Standing(State.DUE)),
        (8, Standing(State.DUE, ago(1))),
        (7, Standing(State.DUE, TODAY)),
        (6, Standing(State.CLEAN, ago(-1))),
    ],
)
def test_every_seven_days_it_is_due_on_the_seventh(cleaned, expected):
    assert standing("days", cleaned) == expected


@pytest.mark.parametrize(
    ("cleaned", "used", "expected"),
    [
        (None, None, State.CLEAN),
        (None, 3, State.DUE),
        (4, 3, State.DUE),
        (3, 3, State.CLEAN),
        (2, 3, State.CLEAN),
    ],
)
def test_after_use_it_is_due_until_it_was_cleaned_on_that_day_or_later(cleaned, used, expected):
    found = standing("after_use", cleaned, used)

    assert found.state == expected
    assert found.day == (ago(3) if expected == State.DUE else None)


@pytest.mark.parametrize(
    ("cleaned", "used", "expected"),
    [
        (None, None, State.BEFORE_NEXT_USE),
        (4, 3, State.BEFORE_NEXT_USE),
        (3, 3, State.BEFORE_NEXT_USE),
        (2, 3, State.CLEAN),
        (2, None, State.CLEAN),
    ],
)
def test_before_use_a_cleaning_counts_for_one_use_only(cleaned, used, expected):
    assert standing("before_use", cleaned, used).state == expected


@pytest.mark.parametrize("schedule", ["days", "before_use", "after_use"])
def test_a_vessel_with_honey_in_it_waits(schedule):
    assert standing(schedule, 30, 3, is_full=True) == Standing(State.IN_USE)


def test_when_needed_is_never_due():
    assert standing("when_needed", None, 3) == Standing(State.NO_SCHEDULE)


# ------------------------------------------------------------------ what the ledger tells of use


def test_a_tank_is_due_once_it_is_emptied(owner, clean):
    tank, drum = builders.place("tank-1"), builders.place("drum", Place.Kind.DRUM)
    made = task("Tank 1", kind="vessel", place=tank, schedule="after_use")
    assert standing_of(made).state == State.CLEAN
    builders.lot_in(tank, 100_000)
    assert standing_of(made).state == State.IN_USE

    emptied_on = date(2026, 8, 10)
    posting = honey.transfer(
        source=tank,
        target=drum,
        grams=100_000,
        recorded_by=owner,
        key=builders.new_key(),
        poured_on=emptied_on,
    )

    assert standing_of(made) == Standing(State.DUE, emptied_on)
    clean(made, emptied_on)
    assert standing_of(made).state == State.CLEAN
    ledger.reverse(posting=posting, recorded_by=owner, key=builders.new_key())
    assert standing_of(made).state == State.IN_USE


def test_the_extractor_is_due_after_a_day_of_extracting(owner, clean):
    made = task("Extractor", kind="machine", schedule="after_use", used_for="extraction")
    bottling = task("Filler", kind="line", schedule="after_use", used_for="bottling")

    builders.lot_in(builders.place("tank-1"))

    assert standing_of(made) == Standing(State.DUE, date(2026, 7, 20))
    assert standing_of(bottling).state == State.CLEAN


def test_what_is_due_comes_first_and_what_is_off_the_schedule_last(owner, clean):
    fresh, due = task("A fresh one"), task("B due one")
    clean(fresh, TODAY)
    clean(due, ago(9))
    off = task("C gone", is_active=False)

    assert [row.task for row in queries.rows(today=TODAY)] == [due, fresh]
    assert [row.task for row in queries.rows(with_unused=True, today=TODAY)] == [due, fresh, off]


def test_what_is_to_do_names_what_is_due_and_what_comes_before_use(owner, clean):
    due = task("Floor")
    before = task("Extractor", kind="machine", schedule="before_use", used_for="extraction")
    clean(task("Shelves", every_days=30), timezone.localdate())

    found = queries.to_do()

    assert [row.task for row in found.due] == [due]
    assert [row.task for row in found.before_use] == [before]
    assert [row.in_words for row in (*found.due, *found.before_use)] == [
        "due: not cleaned yet",
        "clean it before the next use",
    ]


def test_a_longer_schedule_asks_no_more_questions(owner, clean):
    def count() -> int:
        with CaptureQueriesContext(connection) as asked:
            queries.rows()
        return len(asked)

    clean(task("Tank", kind="vessel", place=builders.place("tank-1"), schedule="after_use"), TODAY)
    few = count()
    for number in range(10):
        made = task(f"Room {number}")
        clean(made, ago(3))
        clean(made, ago(2))

    assert count() == few


# ------------------------------------------------------------------ what may be entered


@pytest.mark.parametrize(
    ("fields", "refused"),
    [
        ({"name": " "}, ("name", "Enter a name.")),
        ({"kind": "x"}, ("kind", "Choose one from the list.")),
        ({"kind": "vessel"}, ("place", "Choose a vessel.")),
        ({"schedule": "x", "every_days": None}, ("schedule", "Choose one from the list.")),
        ({"every_days": 0}, ("every_days", "Enter a number of days from 1 to 730.")),
        ({"every_days": 731}, ("every_days", "Enter a number of days from 1 to 730.")),
        ({"every_days": None}, ("every_days", "Enter a number of days from 1 to 730.")),
        (
            {"schedule": "when_needed", "every_days": 7},
            ("every_days", "Leave the days empty, or choose the schedule of every so many days."),
        ),
        (
            {"schedule": "after_use", "every_days": None},
            ("used_for", "Choose what it is used for: then its use is known."),
        ),
        (
            {"used_for": "bottling"},
            (
                "used_for",
                "Leave it empty: it counts only for lines, machines and rooms that are cleaned "
                "before or after use.",
            ),
        ),
    ],
)
def test_a_schedule_that_can_not_be_is_told_at_its_parameter(db, fields, refused):
    told = {"name": "Floor", "kind": "room", "schedule": "days", "every_days": 7, **fields}

    with pytest.raises(HouseError) as error:
        cleaning.save_task(**told)

    assert problems(error.value) == [refused]
    assert not CleaningTask.objects.exists()


@pytest.mark.parametrize("days", [1, 730])
def test_the_ends_of_a_schedule_are_allowed(db, days):
    assert task(every_days=days).every_days == days


def test_only_a_vessel_has_a_place_and_names_are_not_given_twice(db):
    task("Floor")
    with pytest.raises(BadValue) as place:
        task("Wall", place=builders.place("tank-1"))
    with pytest.raises(BadValue) as name:
        task("Floor")

    assert problems(place.value) == [
        ("place", "Only a tank or other vessel has one. Leave it empty.")
    ]
    assert problems(name.value) == [("name", "Something of this name is on the schedule already.")]


def test_a_schedule_is_changed_and_its_log_stays(owner, clean):
    made = task("Floor")
    done = clean(made, ago(3))

    cleaning.save_task(
        task=made, name="Floor of the room", kind="room", schedule="when_needed", is_active=False
    )

    made.refresh_from_db()
    assert (made.name, made.every_days, made.is_active) == ("Floor of the room", None, False)
    assert list(queries.log(ago(3), ago(3))) == [done]


def test_a_cleaning_says_who_and_with_what(owner, clean):
    made = task()
    with pytest.raises(HouseError) as nothing:
        clean(made, TODAY, cleaned_by=" ", cleaned_with="")
    with pytest.raises(BadValue) as future:
        clean(made, timezone.localdate() + timedelta(days=1))

    assert problems(nothing.value) == [
        ("cleaned_by", "Enter who cleaned it."),
        ("cleaned_with", "Enter what it was cleaned with."),
    ]
    assert future.value.parameter == "cleaned_on"
    assert not Cleaning.objects.exists()


def test_the_same_mark_twice_counts_once(owner, clean):
    made = task()
    first = clean(made, TODAY, key="once")

    with pytest.raises(AlreadyRecorded) as repeat:
        clean(made, TODAY, key="once")

    assert repeat.value.made == first


def test_a_removed_cleaning_is_kept_and_it_is_due_again(owner, clean):
    made = task()
    clean(made, ago(9))
    wrong = clean(made, TODAY)
    assert standing_of(made).state == State.CLEAN

    cleaning.remove(cleaning=wrong, removed_by=owner)

    assert standing_of(made) == Standing(State.DUE, ago(2))
    kept = queries.log(TODAY, TODAY).get()
    assert (kept.is_removed, kept.removed_by) == (True, owner)
    with pytest.raises(NotAllowedNow, match="This cleaning was removed already"):
        cleaning.remove(cleaning=wrong, removed_by=owner)


def test_the_table_has_a_row_for_each_cleaning(owner, clean):
    clean(task("Floor"), TODAY, cleaned_with="=hot water")

    headings, row = queries.table(queries.log(TODAY, TODAY))

    told = dict(zip(headings, row, strict=True))
    assert (told["Day"], told["What"], told["Kind"]) == (TODAY, "Floor", "room")
    assert (told["Cleaned by"], told["Cleaned with"]) == ("Bram", "=hot water")
    assert (told["Removed on"], told["Removed by"]) == (None, "")
