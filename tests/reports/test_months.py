"""Months of reports: none is left out, and the month of today is not over."""

from datetime import date

from apiary_sales.reports.frames.months import is_unfinished, month_label
from inventory.shared.days import months_between


def test_no_month_is_left_out_between_the_first_and_the_last():
    assert months_between(date(2025, 11, 30), date(2026, 2, 1)) == [
        date(2025, 11, 1),
        date(2025, 12, 1),
        date(2026, 1, 1),
        date(2026, 2, 1),
    ]


def test_a_single_month_is_one_and_a_span_backwards_has_none():
    assert months_between(date(2026, 3, 5), date(2026, 3, 4)) == [date(2026, 3, 1)]
    assert months_between(date(2026, 3, 1), date(2026, 2, 28)) == []


def test_a_month_is_named_with_its_year():
    assert month_label(date(2026, 11, 1)) == "Nov 2026"


def test_only_the_month_of_today_is_unfinished():
    today = date(2026, 11, 30)

    assert [is_unfinished(date(2026, month, 1), today) for month in (10, 11, 12)] == [
        False,
        True,
        False,
    ]
    assert not is_unfinished(date(2025, 11, 1), today)
