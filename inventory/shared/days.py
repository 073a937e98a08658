"""Days people name, and the moments the books keep."""

from datetime import date, datetime, time, timedelta

from django.utils import timezone

# So much before or after another entry, an entry is just before or after it.
JUST = timedelta(microseconds=1)


def moment(day: date | None) -> datetime:
    """Return when something of that day is booked: noon of it; now for today or for no day."""
    if day is None or day == timezone.localdate():
        return timezone.now()
    return timezone.make_aware(datetime.combine(day, time(12)))


def start_of(day: date) -> datetime:
    """Return the moment at which a day begins where the house is."""
    return timezone.make_aware(datetime.combine(day, time()))


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
