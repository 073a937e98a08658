"""Days people name, and the moments the books keep."""

import calendar
from datetime import date, datetime, time, timedelta

from django.utils import timezone

# So much before or after another entry, an entry is just before or after it.
JUST = timedelta(microseconds=1)
# Between them every moment of a day can be told in every zone.
FIRST_BOUND = date.min + timedelta(days=2)
LAST_BOUND = date.max - timedelta(days=2)


def moment(day: date | None) -> datetime:
    """Return when something of that day is booked: noon of it; now for today or for no day."""
    if day is None or day == timezone.localdate():
        return timezone.now()
    return timezone.make_aware(datetime.combine(day, time(12)))


def start_of(day: date) -> datetime:
    """Return the moment at which a day begins where the house is."""
    return timezone.make_aware(datetime.combine(day, time()))


def lookups(field: str, first: date | None = None, last: date | None = None) -> dict[str, datetime]:
    """Return how to filter the moments of a field to whole days where the house is, both included.

    They compare with the moments at which days begin, so that an index on the field is of use. Days
    so near to an end of the calendar that another zone has no name for their moment bound nothing.
    """
    found = {}
    if first is not None and first >= FIRST_BOUND:
        found[f"{field}__gte"] = start_of(first)
    if last is not None and last <= LAST_BOUND:
        found[f"{field}__lt"] = start_of(last + timedelta(days=1))
    return found


def is_past(moment: datetime) -> bool:
    """Tell whether a moment was on an earlier day: what is entered for it has happened."""
    return timezone.localdate(moment) < timezone.localdate()


def past_moment(day: date | None) -> datetime | None:
    """Return noon of an earlier day, or None for today or no day."""
    return None if day is None or day == timezone.localdate() else moment(day)


def midnight_after(moment: datetime) -> datetime:
    """Return the midnight at which the day of a moment ends."""
    local = timezone.localtime(moment)
    return local.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)


def end(day: date) -> datetime:
    """Return the last moment of a day."""
    return timezone.make_aware(datetime.combine(day, time.max))


def month_number(day: date) -> int:
    """Return the month of a day, counted without end: the next month has the next number."""
    return day.year * 12 + day.month - 1


def months_later(day: date, months: int) -> date:
    """Return the same day of the month so many months later, or the last one that month has."""
    years, month = divmod(month_number(day) + months, 12)
    return date(years, month + 1, min(day.day, calendar.monthrange(years, month + 1)[1]))


def years_before(day: date, years: int) -> date:
    """Return the same day so many years before; February 28 for the 29th where there is none."""
    return months_later(day, -12 * years)


def month_end(day: date, months: int = 0) -> date:
    """Return the last day of the month so many months later."""
    first = months_later(day.replace(day=1), months)
    return first.replace(day=calendar.monthrange(first.year, first.month)[1])


def months_between(first: date, last: date) -> list[date]:
    """Return the first day of each month from the month of `first` to that of `last`."""
    numbers = range(month_number(first), month_number(last) + 1)
    return [date(number // 12, number % 12 + 1, 1) for number in numbers]
