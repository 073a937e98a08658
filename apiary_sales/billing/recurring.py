"""The days on which an expense comes again."""

from datetime import date, timedelta

from apiary_sales.billing.models import Rhythm
from inventory.shared.days import month_number, months_later

MONTHS = {Rhythm.MONTH: 1, Rhythm.QUARTER: 3, Rhythm.YEAR: 12}


def next_day(first_on: date, rhythm: str, after: date) -> date:
    """Return the first day of the rhythm after a day.

    What is due on the 31st is due on the last day of a shorter month, and on the 31st again after.

    >>> next_day(date(2026, 1, 31), "month", date(2026, 1, 31))
    datetime.date(2026, 2, 28)
    >>> next_day(date(2026, 1, 31), "month", date(2026, 2, 28))
    datetime.date(2026, 3, 31)
    """
    if rhythm == Rhythm.WEEK:
        weeks = (after - first_on).days // 7 + 1
        return first_on + timedelta(weeks=max(weeks, 0))
    months = MONTHS[Rhythm(rhythm)]
    passed = month_number(after) - month_number(first_on)
    steps = max(passed // months, 0)
    day = months_later(first_on, steps * months)
    return day if day > after else months_later(first_on, (steps + 1) * months)


def days_due(first_on: date, rhythm: str, next_on: date, until: date) -> int:
    """Count the days of the rhythm from the next one up to a day."""
    count = 0
    while next_on <= until:
        count += 1
        next_on = next_day(first_on, rhythm, next_on)
    return count
