"""The warming log: what may be entered, which lots it reaches, and what is made of them."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError, NotAllowedNow
from inventory.shared.services import files
from inventory.stock.models import Item, Place, Posting, ProductionSettings, Warming
from inventory.stock.queries import warmings as queries
from inventory.stock.services import honey, ledger, measurements, production, warmings
from tests import builders
from tests.uploads import upload

# `builders.lot_in` extracts on this day.
EXTRACTED = date(2026, 7, 20)
AUGUST = date(2026, 8, 1)


@pytest.fixture
def tank(owner):
    return builders.place("tank-1", name="Tank 1")


@pytest.fixture
def warm(owner):
    def warm(place: Place, day: date = AUGUST, **fields) -> Warming:
        return warmings.record(
            place=place,
            started_on=day,
            ended_on=fields.pop("ended_on", day),
            recorded_by=owner,
            key=fields.pop("key", None) or builders.new_key(),
            **fields,
        )

    return warm


def lots_of(warming: Warming) -> list[str]:
    return [lot.code for lot in queries.rows([warming])[0].lots]


def warmed(lot) -> list[Warming]:
    return [row.warming for row in queries.of_lot(lot).rows]


def pour(source: Place, target: Place, grams: int, day: date) -> Posting:
    return honey.transfer(
        source=source,
        target=target,
        grams=grams,
        recorded_by=builders.person(),
        key=builders.new_key(),
        poured_on=day,
    )


def problems(error: HouseError) -> list[tuple[str | None, str]]:
    return [(each.parameter, each.message) for each in error.problems]


# ------------------------------------------------------------------ what may be entered


@pytest.mark.parametrize(
    ("fields", "parameter", "sentence"),
    [
        (
            {"ended_on": AUGUST - timedelta(days=1)},
            "ended_on",
            "The last day is before the first day. Change one of them.",
        ),
        (
            {"hours": Decimal(0)},
            "hours",
            "Enter the hours, more than zero, or leave them empty.",
        ),
        (
            {"hours": Decimal("24.1")},
            "hours",
            "From the first day to the last there are only 24 hours. Check the days.",
        ),
        (
            {"highest_celsius": Decimal("9.9")},
            "highest_celsius",
            "Enter a temperature between 50 °F (10 °C) and 212 °F (100 °C). "
            "Check the figure and its unit.",
        ),
        (
            {"highest_celsius": Decimal("100.1")},
            "highest_celsius",
            "Enter a temperature between 50 °F (10 °C) and 212 °F (100 °C). "
            "Check the figure and its unit.",
        ),
    ],
)
def test_what_can_not_be_is_told_at_its_parameter(warm, tank, fields, parameter, sentence):
    with pytest.raises(BadValue) as refused:
        warm(tank, **fields)

    assert problems(refused.value) == [(parameter, sentence)]
    assert not Warming.objects.exists()


def test_hours_may_fill_all_the_days(warm, tank):
    made = warm(tank, ended_on=AUGUST + timedelta(days=1), hours=Decimal(48))

    assert made.hours == 48


def test_a_day_in_the_future_and_a_shelf_are_refused(warm, tank, owner):
    tomorrow = timezone.localdate() + timedelta(days=1)
    with pytest.raises(HouseError) as future:
        warm(tank, tomorrow)
    with pytest.raises(BadValue) as shelf:
        warm(builders.place("shelf", Place.Kind.SHELF))

    assert [each.parameter for each in future.value.problems] == ["started_on", "ended_on"]
    assert problems(shelf.value) == [("place", "Choose a vessel.")]


def test_the_same_form_twice_records_one_warming(warm, tank):
    first = warm(tank, key="once")

    with pytest.raises(AlreadyRecorded) as repeat:
        warm(tank, key="once")

    assert repeat.value.made == first


# ------------------------------------------------------------------ the limit of the house


# 38 °C is about 100 °F, the usual limit (common practice): less, equal, more.
@pytest.mark.parametrize(
    ("celsius", "is_asked"), [("37.9", False), ("38.0", False), ("38.1", True)]
)
def test_above_the_limit_it_must_be_confirmed(warm, tank, celsius, is_asked):
    if not is_asked:
        made = warm(tank, highest_celsius=Decimal(celsius), above_limit_confirmed=True)
        assert (made.is_above_limit, made.above_limit_confirmed) == (False, False)
        return
    with pytest.raises(BadValue) as refused:
        warm(tank, highest_celsius=Decimal(celsius))
    made = warm(tank, highest_celsius=Decimal(celsius), above_limit_confirmed=True)

    assert problems(refused.value) == [
        (
            "above_limit_confirmed",
            "101 °F (38.1 °C) is above the house's limit of 100 °F (38 °C). Heat darkens honey and "
            "raises its HMF. Correct the temperature, or confirm that it got so warm.",
        )
    ]
    assert (made.is_above_limit, made.above_limit_confirmed, made.limit_celsius) == (True, True, 38)


def test_the_house_sets_its_own_limit_and_past_entries_keep_theirs(warm, tank):
    before = warm(tank, highest_celsius=Decimal(37))
    told = {"labour_cents_per_hour": 0, "honey_house_celsius": Decimal(32), "cost_method": "fifo"}

    production.change(**told, warming_limit_celsius=Decimal(35))
    production.change(**told)

    assert ProductionSettings.current().warming_limit_celsius == 35
    before.refresh_from_db()
    assert not before.is_above_limit
    with pytest.raises(BadValue):
        warm(tank, highest_celsius=Decimal(37))


@pytest.mark.parametrize("celsius", ["24.9", "60.1"])
def test_a_limit_that_is_none_is_refused(owner, celsius):
    with pytest.raises(BadValue) as refused:
        production.change(
            labour_cents_per_hour=0,
            honey_house_celsius=Decimal(32),
            cost_method="fifo",
            warming_limit_celsius=Decimal(celsius),
        )

    assert problems(refused.value) == [
        ("warming_limit_celsius", "Enter a limit between 77 °F (25 °C) and 140 °F (60 °C).")
    ]


def test_what_nobody_noted_stays_unknown(warm, tank):
    made = warm(tank)

    assert (made.hours, made.highest_celsius, made.is_above_limit) == (None, None, False)


# ------------------------------------------------------------------ which lots were warmed


def test_a_warming_belongs_to_the_lot_of_its_day_and_not_to_the_one_there_now(warm, tank, owner):
    first = builders.lot_in(tank, 100_000)
    pour(tank, builders.place("drum", Place.Kind.DRUM), 100_000, date(2026, 8, 10))
    later = honey.receive(
        place=tank,
        grams=200_000,
        season=2026,
        floral_source="Basswood",
        extracted_on=date(2026, 8, 12),
        moisture_percent=Decimal("17.0"),
        recorded_by=owner,
        key=builders.new_key(),
    )

    before, after = warm(tank, AUGUST), warm(tank, date(2026, 8, 15))
    empty = warm(tank, date(2026, 8, 11))

    assert (lots_of(before), lots_of(after), lots_of(empty)) == ([first.code], [later.code], [])


def test_days_on_which_the_lot_came_or_left_count_and_the_days_beside_them_do_not(warm, tank):
    lot = builders.lot_in(tank, 100_000)
    left_on = date(2026, 8, 10)
    pour(tank, builders.place("drum", Place.Kind.DRUM), 100_000, left_on)
    days = [
        EXTRACTED - timedelta(days=1),
        EXTRACTED,
        left_on,
        left_on + timedelta(days=1),
    ]

    found = [lots_of(warm(tank, day)) for day in days]

    assert found == [[], [lot.code], [lot.code], []]


def test_an_entry_that_comes_late_moves_the_warming_to_its_lot(warm, tank):
    made = warm(tank)
    assert lots_of(made) == []

    lot = builders.lot_in(tank)

    assert lots_of(made) == [lot.code]
    assert warmed(lot) == [made]


def test_what_was_undone_was_never_warmed(warm, tank, owner):
    drum = builders.place("drum", Place.Kind.DRUM)
    lot = builders.lot_in(tank, 100_000)
    posting = pour(tank, drum, 40_000, date(2026, 7, 25))
    in_drum = warm(drum)
    assert lots_of(in_drum) == [lot.code]

    ledger.reverse(posting=posting, recorded_by=owner, key=builders.new_key())

    assert lots_of(in_drum) == []


def test_a_correction_moves_the_warming_with_the_honey(warm, tank, owner):
    drum, right = (builders.place(code, Place.Kind.DRUM) for code in ("drum", "right"))
    lot = builders.lot_in(tank, 100_000)
    posting = pour(tank, drum, 40_000, date(2026, 7, 25))
    in_drum, in_right = warm(drum), warm(right)
    assert (lots_of(in_drum), lots_of(in_right)) == ([lot.code], [])

    # It was poured into the other drum.
    ledger.correct(
        posting=posting,
        lines=ledger.move(
            item=Item.objects.honey(), lot=lot, source=tank, target=right, quantity=40_000
        ),
        recorded_by=owner,
        key=builders.new_key(),
    )

    assert (lots_of(in_drum), lots_of(in_right)) == ([], [lot.code])


# ------------------------------------------------------------------ what was made of them


def test_a_warming_is_carried_to_blends_and_jars_made_of_the_lot(warm, tank, owner):
    other = builders.place("tank-2")
    lot = builders.lot_in(tank, 100_000)
    builders.lot_in(other, 100_000, floral_source="Basswood")
    made = warm(tank)
    pour(tank, other, 50_000, date(2026, 8, 5))
    blend = lot.descendants()[0]
    jars = builders.packed_lot(
        builders.size(), builders.place("shelf", Place.Kind.SHELF), parent=blend
    )

    assert [warmed(each) for each in (lot, blend, jars)] == [[made], [made], [made]]
    assert [row.lots for row in queries.of_lot(jars).rows] == [[lot]]


def test_what_was_made_before_the_warming_was_not_warmed(warm, tank, owner):
    other = builders.place("tank-2")
    lot = builders.lot_in(tank, 100_000)
    builders.lot_in(other, 100_000, floral_source="Basswood")
    blended_on = date(2026, 8, 5)
    pour(tank, other, 50_000, blended_on)
    blend = lot.descendants()[0]

    same_day = warm(tank, blended_on)
    later = warm(tank, blended_on + timedelta(days=1))

    # On the same day nobody knows which came first: it counts.
    assert warmed(blend) == [same_day]
    assert warmed(lot) == [same_day, later]


def test_a_removed_warming_is_kept_and_counts_no_more(warm, tank, owner):
    lot = builders.lot_in(tank)
    made = warm(tank)

    warmings.remove(warming=made, removed_by=owner)

    assert warmed(lot) == []
    kept = queries.log(AUGUST, AUGUST).get()
    assert (kept.pk, kept.removed_by, kept.is_removed) == (made.pk, owner, True)
    with pytest.raises(NotAllowedNow, match="This warming was removed already"):
        warmings.remove(warming=made, removed_by=owner)


def test_hmf_and_diastase_of_a_laboratory_stand_beside_the_warming(warm, tank, owner):
    lot = builders.lot_in(tank)
    report = files.attach(
        thing=lot, file=upload(), kind="laboratory", added_by=owner, key=builders.new_key()
    )
    told = {"lot": lot, "measured_on": AUGUST, "recorded_by": owner}
    laboratory = {"is_laboratory": True, "laboratory": "Prairie Analytics", "report": report}
    hmf, diastase = (
        measurements.record(
            what=what, value=Decimal(value), key=builders.new_key(), **told, **laboratory
        )
        for what, value in (("hmf", "8.4"), ("diastase", "17"))
    )
    measurements.record(what="ph", value=Decimal("3.9"), key="ph", **told, **laboratory)
    measurements.record(what="hmf", value=Decimal(9), key="own", **told)
    jars = builders.packed_lot(
        builders.size(), builders.place("shelf", Place.Kind.SHELF), parent=lot
    )
    made = warm(tank)

    assert queries.rows([made])[0].figures == [hmf, diastase]
    assert queries.of_lot(lot).figures == [hmf, diastase]
    assert queries.of_lot(jars).figures == [hmf, diastase]


# ------------------------------------------------------------------ the log


def test_the_log_has_the_warmings_that_touch_its_days(warm, tank):
    made = warm(tank, AUGUST, ended_on=AUGUST + timedelta(days=2))
    days = [AUGUST + timedelta(days=number) for number in (-1, 0, 2, 3)]

    assert [list(queries.log(day, day)) for day in days] == [[], [made], [made], []]


def test_the_table_names_every_figure_with_its_unit(warm, tank):
    builders.lot_in(tank)
    warm(
        tank,
        hours=Decimal("6.5"),
        highest_celsius=Decimal(45),
        above_limit_confirmed=True,
        warmed_by="Bram",
        note="thermostat",
    )

    headings, row = queries.table(queries.rows(queries.log(AUGUST, AUGUST)))

    told = dict(zip(headings, row, strict=True))
    # 45 °C × 9/5 + 32 = 113 °F.
    assert (told["Highest temperature, °F"], told["Highest temperature, °C"]) == (113, 45)
    assert (told["Hours"], told["Limit, °C"], told["Above the limit"]) == (
        Decimal("6.5"),
        38,
        "yes",
    )
    assert (told["Lots"], told["Warmed by"], told["Removed by"]) == ("26-E01", "Bram", "")


def test_a_longer_log_asks_no_more_questions(warm, tank):
    lot = builders.lot_in(tank)

    def count() -> int:
        with CaptureQueriesContext(connection) as asked:
            queries.rows(queries.log(EXTRACTED, AUGUST + timedelta(days=60)))
            queries.of_lot(lot)
        return len(asked)

    warm(tank)
    few = count()
    for number in range(20):
        warm(tank, AUGUST + timedelta(days=number))

    assert count() == few
