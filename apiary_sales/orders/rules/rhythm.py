"""The days of a standing order."""

from calendar import monthrange
from datetime import date, timedelta

from apiary_sales.orders.trade_models import StandingOrder

DAYS_BETWEEN: dict[str, int] = {
    StandingOrder.Rhythm.WEEKLY: 7,
    StandingOrder.Rhythm.FORTNIGHTLY: 14,
}


def last_due(rhythm: str, *, starts_on: date, ends_on: date | None, upto: date) -> date | None:
    """Return the last day of a rhythm on or before a day; None where there is none yet.

    Every month means the same day of the month, or the last day of a month that has no such day.

    >>> last_due("monthly", starts_on=date(2026, 1, 31), ends_on=None, upto=date(2026, 3, 5))
    datetime.date(2026, 2, 28)
    """
    if ends_on is not None:
        upto = min(upto, ends_on)
    if upto < starts_on:
        return None
    if between := DAYS_BETWEEN.get(rhythm):
        return upto - timedelta(days=(upto - starts_on).days % between)
    due = _in_month(upto.year, upto.month, starts_on.day)
    if due <= upto:
        return due
    before = upto.replace(day=1) - timedelta(days=1)
    return _in_month(before.year, before.month, starts_on.day)


def _in_month(year: int, month: int, day: int) -> date:
    return date(year, month, min(day, monthrange(year, month)[1]))
