"""When on its day a late entry is booked.

People name a day, not an hour. Noon is the usual moment; an entry is put where it agrees with what
else is known of that day.
"""

from datetime import date, datetime, timedelta

from inventory.shared import days
from inventory.stock.models import Place, PostingLine, Shortage


def of_draw(day: date | None, *places: Place) -> datetime | None:
    """Return when honey was drawn from vessels on an earlier day; None for today or no day.

    After the last honey that came into them that day: whether some of it was drawn is not known,
    and a recall must find it.
    """
    return PostingLine.objects.moment_of_draw(day, *places)


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
        .filter(posting__occurred_at__gte=days.midnight_after(moment) - timedelta(days=1))
        .order_by("posting__occurred_at")
        .values_list("posting__occurred_at", flat=True)
        .first()
    )
    return moment if wanted is None else wanted - days.JUST
