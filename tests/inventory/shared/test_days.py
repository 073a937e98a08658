"""The moments at which days begin, where a list is narrowed to some days."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.shared import days
from inventory.stock.models import Place, Posting
from inventory.stock.queries import honey
from tests import builders

JULY_4 = date(2026, 7, 4)


def test_a_day_is_told_by_the_moments_at_which_it_and_the_next_one_begin():
    with timezone.override("America/New_York"):
        told = days.lookups("read_at", JULY_4, JULY_4)

    zone = ZoneInfo("America/New_York")
    assert told == {
        "read_at__gte": datetime(2026, 7, 4, tzinfo=zone),
        "read_at__lt": datetime(2026, 7, 5, tzinfo=zone),
    }


@pytest.mark.django_db
@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "UTC", "Pacific/Pago_Pago"])
def test_the_ends_of_the_calendar_bound_nothing(zone):
    place = builders.place("tank", Place.Kind.TANK)
    builders.lot_in(place)

    with timezone.override(zone):
        assert honey.postings(first=date.min, last=date.max).count() == 1
        assert not honey.postings(last=date(1, 1, 4)).exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("first", "last", "expected"),
    [
        (JULY_4, JULY_4, 2),
        (date(2026, 7, 5), None, 1),
        (None, date(2026, 7, 3), 1),
        (date(2026, 7, 3), date(2026, 7, 5), 4),
    ],
)
def test_entries_are_of_the_day_it_was_where_the_house_is(first, last, expected):
    place = builders.place("tank", Place.Kind.TANK)
    lot = builders.lot_in(place)
    zone = timezone.get_current_timezone()
    at = [
        datetime(2026, 7, 3, 23, 59, 59, 999_999),
        datetime(2026, 7, 4),
        datetime(2026, 7, 4, 23, 59, 59, 999_999),
        datetime(2026, 7, 5),
    ]
    Posting.objects.bulk_create(
        Posting(
            kind=Posting.Kind.COUNT,
            occurred_at=each.replace(tzinfo=zone),
            recorded_by=builders.person(),
            idempotency_key=builders.new_key(),
        )
        for each in at
    )
    kept = Posting.objects.exclude(lines__lot=lot)

    with CaptureQueriesContext(connection) as asked:
        found = honey.postings(first=first, last=last).filter(pk__in=kept).count()

    assert found == expected
    assert "cast_date" not in asked[-1]["sql"]
