"""Days people name, and the moments the books keep."""

from datetime import date, datetime, time

from django.utils import timezone


def moment(day: date | None) -> datetime:
    """Return when something of that day is booked: noon of it; now for today or for no day."""
    if day is None or day == timezone.localdate():
        return timezone.now()
    return timezone.make_aware(datetime.combine(day, time(12)))


def start_of(day: date) -> datetime:
    """Return the moment at which a day begins where the house is."""
    return timezone.make_aware(datetime.combine(day, time()))
