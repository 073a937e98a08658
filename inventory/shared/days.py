"""Days people name, and the moments the books keep."""

from datetime import date, datetime, time

from django.utils import timezone


def moment(day: date | None) -> datetime:
    """Return when something of that day is booked: noon of it; now for today or for no day."""
    if day is None or day == timezone.localdate():
        return timezone.now()
    return timezone.make_aware(datetime.combine(day, time(12)))


def is_past(moment: datetime) -> bool:
    """Tell whether a moment was on an earlier day: what is entered for it has happened."""
    return timezone.localdate(moment) < timezone.localdate()


def past_moment(day: date | None) -> datetime | None:
    """Return noon of an earlier day, or None for today or no day."""
    return None if day is None or day == timezone.localdate() else moment(day)
