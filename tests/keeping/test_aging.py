"""Old backups go: all of 7 days stay, then one a week for 4 weeks and one a month for 12 months."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from apiary_sales.keeping.rules import nights
from apiary_sales.keeping.rules.aging import AgingCopy, aged_out

CHICAGO = ZoneInfo("America/Chicago")
# A Friday.
NOW = datetime(2026, 11, 27, 12, tzinfo=CHICAGO)


def nightly(days: int) -> list[AgingCopy]:
    """Return a backup at 1:30 of each of the last so many days, today's first."""
    first = NOW.replace(hour=1, minute=30)
    return [
        AgingCopy(str(at.date()), at) for at in (first - timedelta(days=n) for n in range(days))
    ]


def test_of_two_years_of_nights_a_few_stay():
    copies = nightly(730)

    gone = aged_out(copies, NOW)

    kept = [copy.name for copy in copies if copy.name not in gone]
    assert kept == [
        # Seven days; the newest of each of four weeks, which end on Sundays.
        *(f"2026-11-{day}" for day in (27, 26, 25, 24, 23, 22, 21)),
        *("2026-11-15", "2026-11-08"),
        # The newest of each of twelve months.
        *("2026-10-31", "2026-09-30", "2026-08-31", "2026-07-31", "2026-06-30", "2026-05-31"),
        *("2026-04-30", "2026-03-31", "2026-02-28", "2026-01-31", "2025-12-31"),
    ]


def test_the_last_good_one_stays_however_old():
    old = AgingCopy("old", NOW - timedelta(days=900))
    bad = [AgingCopy(f"bad-{n}", NOW - timedelta(days=10 + n), is_good=False) for n in range(3)]

    gone = aged_out([old, *bad], NOW)

    assert gone == ["bad-2", "bad-1", "bad-0"]


def test_all_of_one_day_stay_for_seven_days():
    copies = [AgingCopy(str(n), NOW - timedelta(days=6, minutes=n)) for n in range(5)]

    assert aged_out(copies, NOW) == []
    assert len(aged_out(copies, NOW + timedelta(days=1))) == 4


def test_the_night_that_is_due_begins_at_half_past_one():
    before = datetime(2026, 11, 27, 1, 29, tzinfo=CHICAGO)
    after = datetime(2026, 11, 27, 1, 30, tzinfo=CHICAGO)

    assert nights.night_due(before) == date(2026, 11, 26)
    assert nights.night_due(after) == date(2026, 11, 27)
    assert nights.next_night(before) == after
    assert nights.next_night(after) == after + timedelta(days=1)
