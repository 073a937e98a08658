"""What was sold in each month of this year and of the years before, side by side."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from django.db.models import Min
from django.utils import timezone
from django.utils.formats import date_format

from apiary_sales.imports.models import PastSale
from apiary_sales.orders.models import Fulfilment
from apiary_sales.reports.frames import sales, uncosted
from apiary_sales.reports.frames.make import TEXT, WHOLE, frame_of, plain
from apiary_sales.reports.frames.sales import SalesFilters

if TYPE_CHECKING:
    import pandas as pd

YEARS_SHOWN = 3
MONTHS = {
    "month_number": WHOLE,
    "month": TEXT,
    "month_short": TEXT,
}


@dataclass(frozen=True)
class YearFilters(SalesFilters):
    """Which sales, up to the end of which day, and how many years to lay side by side."""

    years: int = YEARS_SHOWN


def year_on_year(filters: YearFilters) -> pd.DataFrame:
    """Return the twelve months of the newest years, a column `year_<year>` each.

    The newest year is that of the last day looked at. A month has no figure before the first sale
    of the house, nor where it has not begun. `before` is the same month a year earlier, of the
    month of the last day up to the same day only, so that `change` compares the same days.
    """
    last = last_day(filters)
    first_sold = _first_sale()
    first_year = last.year - filters.years + 1
    if first_sold is not None:
        first_year = min(max(first_year, first_sold.year), last.year)
    years = range(first_year, last.year + 1)
    found: dict[tuple[int, int], int | None] = {}
    to_the_day: int | None = None
    sold = sales.lines(replace(filters, since=date(first_year, 1, 1), until=last))
    for day, value in zip(sold["day"], sold[filters.measure], strict=True):
        figure, at = plain(value), (day.year, day.month)
        if figure is None:
            continue
        found[at] = (found.get(at) or 0) + figure
        if at == (last.year - 1, last.month) and day.day <= last.day:
            to_the_day = (to_the_day or 0) + figure
    is_unknown = filters.measure == "margin_cents"

    def figure_of(year: int, month: int) -> int | None:
        first = date(year, month, 1)
        if first > last or first_sold is None or first < first_sold.replace(day=1):
            return None
        # Without a sale there is nothing to earn; without a known cost the margin is not known.
        return found.get((year, month), None if is_unknown else 0)

    rows = []
    for month in range(1, 13):
        figures = [figure_of(year, month) for year in years]
        now, before = figures[-1], figure_of(last.year - 1, month)
        if month == last.month and before is not None:
            before = to_the_day if is_unknown or to_the_day else 0
        if now is None or before is None:
            before, change = None, None
        else:
            change = now - before
        first = date(last.year, month, 1)
        rows.append(
            [month, date_format(first, "F"), date_format(first, "M"), *figures, before, change]
        )
    if not any(year in years for year, _month in found):
        rows = []
    columns: dict[str, Any] = {f"year_{year}": WHOLE for year in years}
    made = frame_of(rows, {**MONTHS, **columns, "before": WHOLE, "change": WHOLE})
    return uncosted.keep(made, sold)


def last_day(filters: SalesFilters) -> date:
    """Return the last day that is looked at: today, or an earlier one that is asked for."""
    today = timezone.localdate()
    return min(filters.until or today, today)


def _first_sale() -> date | None:
    """Return the day of the first sale in the books, or of those that were brought in."""
    own = Fulfilment.objects.aggregate(day=Min("filled_on"))["day"]
    past = PastSale.objects.counting().aggregate(day=Min("day"))["day"]
    return min((day for day in (own, past) if day is not None), default=None)
