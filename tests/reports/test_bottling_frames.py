"""Where the honey of runs went, worked out by hand.

One pound is 453.59237 g. The run of the room fills 96 one pound jars and breaks 2, draws 45,000 g
and loses 500 g:

    on the labels  96 × 453.59237 = 43,544.87  → 43,545 g
    broken          2 × 453.59237 =    907.18  →    907 g
    lost                                            500 g
    above the label 45,000 − 43,545 − 907 − 500  =   48 g

The tank's 200,000 g cost 100,000 cents, half a cent a gram: 48 g cost 24 cents.
"""

from datetime import date

import pytest

from apiary_sales.reports.frames import bottling
from apiary_sales.reports.frames.bottling import RunFilters
from inventory.bottling.services import reversals
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


def figures(frame, *names):
    return [tuple(int(row[name]) for name in names) for _index, row in frame.iterrows()]


def test_a_run_splits_what_it_drew_without_rest():
    bottling_room.recorded(bottling_room.set_up())

    found = bottling.runs(RunFilters())

    assert figures(found, "drawn_grams", "label_grams", "over_grams", "broken_grams") == [
        (45_000, 43_545, 48, 907)
    ]
    assert figures(found, "loss_grams", "over_cents", "filled", "broken") == [(500, 24, 96, 2)]
    parts = found[["label_grams", "over_grams", "broken_grams", "loss_grams"]].sum(axis=1)
    assert parts.tolist() == found["drawn_grams"].tolist()


def test_a_short_run_gives_less_than_nothing_away():
    # 43,400 − 43,545 = −145 g; at half a cent a gram, −72.5 → −72 cents (to the even cent).
    bottling_room.recorded(
        bottling_room.set_up(), drawn_grams=43_400, loss_grams=0, pieces_broken=0
    )

    assert figures(bottling.overfill(RunFilters()), "over_grams", "over_cents") == [(-145, -72)]


def test_the_overfill_of_a_product_adds_up_its_runs():
    room = bottling_room.set_up()
    bottling_room.recorded(room)
    # 45,100 − 43,545 − 907 − 500 = 148 g; 74 cents.
    bottling_room.recorded(room, drawn_grams=45_100)

    found = bottling.overfill(RunFilters())

    assert figures(found, "runs", "filled", "over_grams", "over_cents") == [(2, 192, 196, 98)]


def test_overfill_of_honey_without_a_cost_has_none():
    bottling_room.recorded(bottling_room.set_up(cost_cents=None))

    found = bottling.overfill(RunFilters())

    assert found["over_grams"].tolist() == [48]
    assert found["over_cents"].isna().tolist() == [True]


def test_planned_and_undone_runs_are_left_out():
    room = bottling_room.set_up()
    bottling_room.plan(room)
    run = bottling_room.recorded(room)

    reversals.reverse(
        posting=run.posting, recorded_by=builders.person(), key=builders.new_key(), note="Wrong"
    )

    assert len(bottling.runs(RunFilters())) == 0
    assert len(bottling.overfill(RunFilters())) == 0


@pytest.mark.parametrize(
    ("filters", "runs"),
    [
        ({}, 2),
        ({"since": date(2026, 11, 10)}, 2),
        ({"since": date(2026, 11, 11)}, 1),
        ({"until": date(2026, 11, 10)}, 1),
        ({"until": date(2026, 11, 9)}, 0),
        ({"season": "2026"}, 2),
        ({"season": "2025"}, 0),
        ({"product": "none-such"}, 0),
    ],
)
def test_runs_count_on_the_day_they_were_bottled(filters, runs):
    room = bottling_room.set_up()
    bottling_room.recorded(room, bottled_on=date(2026, 11, 10))
    bottling_room.recorded(room)

    assert len(bottling.runs(RunFilters(**filters))) == runs


def test_runs_take_one_query_however_many(django_assert_num_queries):
    room = bottling_room.set_up()
    for _number in range(3):
        bottling_room.recorded(room)

    with django_assert_num_queries(1):
        bottling.overfill(RunFilters())


def test_a_run_says_how_its_honey_was_measured():
    room = bottling_room.set_up()
    bottling_room.recorded(room)
    bottling_room.recorded(room, drawn_grams=None)

    found = bottling.runs(RunFilters())

    assert found["measured_by"].tolist() == ["scale", "estimated"]
    assert figures(bottling.overfill(RunFilters()), "runs", "estimated_runs") == [(2, 1)]
