"""When on its day a late entry is booked.

People name a day, not an hour. Noon is the usual moment; an entry is put where it agrees with what
else is known of that day.
"""

from datetime import date, datetime, timedelta

from django.utils import timezone

from inventory.shared import days
from inventory.stock.models import Place, PostingLine, Shortage

JUST = timedelta(microseconds=1)


def of_draw(day: date | None, *places: Place) -> datetime | None:
    """Return when honey was drawn from vessels on an earlier day; None for today or no day.

    After the last honey that came into them that day: whether some of it was drawn is not known,
    and a recall must find it.
    """
    moment = days.past_moment(day)
    if moment is None:
        return None
    came = (
        PostingLine.objects.standing()
        .filter(place__in=places, quantity__gt=0, posting__occurred_at__gt=moment)
        .filter(posting__occurred_at__lt=_end(moment))
        .order_by("-posting__occurred_at")
        .values_list("posting__occurred_at", flat=True)
        .first()
    )
    return moment if came is None else came + JUST


def of_arrival(day: date | None, *places: Place) -> datetime | None:
    """Return when something came in on an earlier day; None for today or no day.

    Before the first entry of that day that wanted it: it must have been there by then.
    """
    moment = days.past_moment(day)
    if moment is None:
        return None
    wanted = (
        Shortage.objects.standing()
        .filter(place__in=places, posting__occurred_at__lte=moment)
        .filter(posting__occurred_at__gte=_end(moment) - timedelta(days=1))
        .order_by("posting__occurred_at")
        .values_list("posting__occurred_at", flat=True)
        .first()
    )
    return moment if wanted is None else wanted - JUST


def _end(moment: datetime) -> datetime:
    """Return the midnight at which the day of a moment ends."""
    local = timezone.localtime(moment)
    return local.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
