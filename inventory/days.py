"""Days people name, and the moments the books keep."""

from datetime import date, datetime, time

from django.utils import timezone


def moment(day: date) -> datetime:
    """Return when something of that day is booked: now for today, else noon of that day."""
    if day == timezone.localdate():
        return timezone.now()
    return timezone.make_aware(datetime.combine(day, time(12)))
