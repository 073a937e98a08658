"""The control chart of a size: averages over time, centre line and limits, drawn and as a table."""

import math
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.bottling.queries import fill_charts
from inventory.bottling.services import fill_checks
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return bottling_room.set_up(grams=900_000, pieces=2_000, cases=200)


@pytest.fixture
def bottler(client):
    client.force_login(builders.person("bottling"))
    return client


def weigh(run, *grams, days_ago=0):
    return fill_checks.record(
        run=run,
        scheme="us",
        weights_milligrams=[round(each * 1000) for each in grams],
        checked_by=builders.person("bottling"),
        key=builders.new_key(),
        checked_on=timezone.localdate() - timedelta(days=days_ago),
    )


def runs(room, count):
    today = timezone.localdate()
    return [bottling_room.recorded(room, bottled_on=today) for _number in range(count)]


def chart(client, size):
    return client.get(reverse("inventory:fill_chart", args=[size.code]))


def test_a_size_never_weighed_says_so(bottler, room):
    page = chart(bottler, room.size).text

    assert "No piece of this size has been weighed yet." in page
    assert "chart-title" not in page


def test_averages_have_the_limits_of_their_pieces(room):
    one, two, three = runs(room, 3)
    weigh(one, 455, 457)
    weigh(two, 456, 458)
    weigh(three, 454, 456)

    found = fill_charts.chart_of(room.size)

    # Averages 456, 457 and 455; each standard deviation is √2; A3 for pairs is 2.659 (ASTM).
    assert [point.sample.average_g for point in found.points] == [456, 457, 455]
    assert found.limits.centre_g == 456
    low, high = found.points[0].limits_g
    assert (round(low, 1), round(high, 1)) == (
        round(456 - 2.659 * math.sqrt(2), 1),
        round(456 + 2.659 * math.sqrt(2), 1),
    )
    assert found.message == "All 3 averages are within the limits: the filling is steady."
    assert found.limits.is_provisional


def test_a_check_far_from_the_others_is_outside(bottler, room):
    for run in runs(room, 5):
        weigh(run, 456, 456.2, 456.1)
    [odd] = runs(room, 1)
    weigh(odd, 462, 462.2, 462.1)

    found = fill_charts.chart_of(room.size)

    # The six averages have a mean of 457.1, and limits of A3 = 1.954 times 0.1 from it: all are
    # outside, for the filling was not steady at all.
    assert found.outside == 6
    page = chart(bottler, room.size).text
    assert "6 of 6 averages are outside the limits." in page
    assert page.count("outside the limits") >= 7


def test_checks_before_a_run_are_shown_and_count_for_nothing(room):
    one, two = runs(room, 2)
    weigh(one, 455, 457)
    weigh(two, 455, 457)
    weigh(bottling_room.plan(room), 470, 472)

    found = fill_charts.chart_of(room.size)

    assert [point.kind for point in found.points] == ["sample", "sample", "before"]
    assert found.limits.centre_g == 456
    assert found.outside == 0


def test_a_sample_that_was_weighed_on_is_one_point(room):
    [run] = runs(room, 1)
    first = weigh(run, 455)
    fill_checks.record(
        run=run,
        scheme="us",
        weights_milligrams=[457_000],
        checked_by=builders.person(),
        key=builders.new_key(),
        continues=first,
    )

    [point] = fill_charts.chart_of(room.size).points
    assert (point.sample.pieces, point.sample.average_g) == (2, 456)
    assert point.limits_g is None


def test_points_go_by_the_day_they_were_weighed(room):
    planned = bottling_room.plan(room)
    weigh(planned, 458, days_ago=1)
    weigh(planned, 455, days_ago=9)

    averages = [point.sample.average_g for point in fill_charts.chart_of(room.size).points]
    assert averages == [455, 458]


def test_the_drawing_has_every_point_between_its_lines(room):
    for number, run in enumerate(runs(room, 4)):
        weigh(run, 455 + number, 457 + number)

    drawing = fill_charts.chart_of(room.size).drawing

    assert len(drawing.marks) == 4
    assert sum(stroke.kind == "path" for stroke in drawing.strokes) == 3
    assert sum(stroke.kind == "limit" for stroke in drawing.strokes) == 8
    heights = [mark.y for mark in drawing.marks]
    # Heavier is higher, and pixels are counted downwards.
    assert heights == sorted(heights, reverse=True)
    assert all(drawing.TOP <= y <= drawing.BOTTOM for y in heights)
    assert all(0 < float(mark.x.rstrip("%")) < 100 for mark in drawing.marks)


def test_the_page_has_the_same_as_a_table(bottler, room):
    one, two = runs(room, 2)
    weigh(one, 455, 457)
    weigh(two, 456, 458)

    page = chart(bottler, room.size).text

    assert 'role="img"' in page
    assert "All 2 averages are within the limits: the filling is steady." in page
    assert "The limits are from 2 checks and still move: rely on them from 20 checks on." in page
    assert f'href="{reverse("inventory:run_detail", args=[one.number])}"' in page
    for figure in ("456.0", "457.0", "452.7", "460.3"):
        # 456.5 ± 2.659 × √2 = 452.74 and 460.26.
        assert f"{figure} <small>g</small>" in page


def test_the_chart_asks_the_database_the_same_for_few_and_many(
    bottler, room, django_assert_max_num_queries
):
    for run in runs(room, 6):
        weigh(run, 455, 457)

    with django_assert_max_num_queries(3):
        fill_charts.chart_of(room.size).drawing  # noqa: B018
