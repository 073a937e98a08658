"""The days on which an expense comes again."""

import calendar
from datetime import date, timedelta

from apiary_sales.billing.models import Rhythm

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
    passed = (after.year - first_on.year) * 12 + after.month - first_on.month
    steps = max(passed // months, 0)
    day = _months_later(first_on, steps * months)
    return day if day > after else _months_later(first_on, (steps + 1) * months)


def days_due(first_on: date, rhythm: str, next_on: date, until: date) -> int:
    """Count the days of the rhythm from the next one up to a day."""
    count = 0
    while next_on <= until:
        count += 1
        next_on = next_day(first_on, rhythm, next_on)
    return count


def _months_later(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last))
