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


def next_due(rhythm: str, *, starts_on: date, ends_on: date | None, after: date) -> date | None:
    """Return the first day of a rhythm after a day; None where it has ended by then.

    >>> next_due("weekly", starts_on=date(2026, 1, 5), ends_on=None, after=date(2026, 1, 12))
    datetime.date(2026, 1, 19)
    """
    if after < starts_on:
        due = starts_on
    elif between := DAYS_BETWEEN.get(rhythm):
        due = after + timedelta(days=between - (after - starts_on).days % between)
    else:
        due = _in_month(after.year, after.month, starts_on.day)
        if due <= after:
            month_after = after.replace(day=28) + timedelta(days=4)
            due = _in_month(month_after.year, month_after.month, starts_on.day)
    return None if ends_on is not None and due > ends_on else due


def _in_month(year: int, month: int, day: int) -> date:
    return date(year, month, min(day, monthrange(year, month)[1]))
