"""Months of a report: all of them without a gap, their names, and which one is not over yet."""

from datetime import date

from django.utils.formats import date_format


def months_between(first: date, last: date) -> list[date]:
    """Return the first day of each month from the month of `first` to that of `last`."""
    months = range(first.year * 12 + first.month - 1, last.year * 12 + last.month)
    return [date(month // 12, month % 12 + 1, 1) for month in months]


def month_label(first: date) -> str:
    """Name a month with its year: "Nov 2026", in the language of the reader."""
    return date_format(first, "M Y")


def is_unfinished(first: date, today: date) -> bool:
    """Tell whether a month is the one of today, whose last day is still to come or not over."""
    return (first.year, first.month) == (today.year, today.month)


def year_before(first: date) -> date:
    """Return the first day of the same month a year earlier."""
    return date(first.year - 1, first.month, 1)
