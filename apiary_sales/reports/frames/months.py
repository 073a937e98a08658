"""Months of a report: their names, and which one is not over yet."""

from datetime import date

from django.utils.formats import date_format


def month_label(first: date) -> str:
    """Name a month with its year: "Nov 2026", in the language of the reader."""
    return date_format(first, "M Y")


def is_unfinished(first: date, today: date) -> bool:
    """Tell whether a month is the one of today, whose last day is still to come or not over."""
    return (first.year, first.month) == (today.year, today.month)
