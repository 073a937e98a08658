"""When the work of the night is done, of which the backup is most."""

from datetime import date, datetime, time, timedelta

# After the day's work, and not in the hour that daylight saving time skips in most countries.
AT = time(1, 30)
# What does the work of a night, as the queue of tasks names it.
TASK = "apiary_sales.keeping.services.nightly.back_up_tonight"


def night_due(now: datetime) -> date:
    """Return the latest night whose hour has come; `now` is in the house's own time."""
    return now.date() if now.time() >= AT else now.date() - timedelta(days=1)


def next_night(now: datetime) -> datetime:
    """Return when the next nightly backup is made."""
    return datetime.combine(night_due(now) + timedelta(days=1), AT, tzinfo=now.tzinfo)
