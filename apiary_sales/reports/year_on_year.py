"""The report that lays this year beside the years before it, month by month."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.reports import answers
from apiary_sales.reports.columns import Address, Column, Row, Unit
from apiary_sales.reports.forms import HoneySalesForm, measure_field
from apiary_sales.reports.frames import years
from apiary_sales.reports.frames.years import YEARS_SHOWN, YearFilters
from apiary_sales.reports.report import Picture, Report
from inventory.shared.days import month_end

if TYPE_CHECKING:
    import pandas as pd

Text = str | Promise


class YearsForm(HoneySalesForm):
    """Which sales, up to which day, how many years, and by what."""

    makes = YearFilters

    # The columns are the years.
    since = None  # type: ignore[assignment]
    measure = measure_field()
    years = forms.TypedChoiceField(
        label=gettext_lazy("How many years"),
        required=False,
        coerce=int,
        empty_value=None,
        choices=[("", str(YEARS_SHOWN)), ("2", "2"), ("4", "4")],
        error_messages={"invalid_choice": gettext_lazy("Choose from 2 to 4 years.")},
    )

    def in_words(self) -> list[str]:
        until = self.cleaned_data.get("until")
        day = _("up to %(until)s") % {"until": date_format(until)} if until else _("up to today")
        return [day, *super().in_words()]


def _is_unfinished(row: Row, name: str, asked: YearFilters) -> bool:
    last = years.last_day(asked)
    is_whole = last == month_end(last) and last < timezone.localdate()
    is_of_month = row["month_number"] == last.month
    return is_of_month and not is_whole and name in (f"year_{last.year}", "change")


def _columns(
    lines_url: Callable[..., str], frame: pd.DataFrame, asked: YearFilters
) -> list[Column]:
    def behind(year: int) -> Any:
        def url(row: Row, address: Address) -> str:
            month = int(row["month_number"])
            kept = {name: value for name, value in address.items() if name != "until"}
            first = date(year, month, 1)
            last = min(month_end(first), years.last_day(asked))
            return lines_url(kept, since=first.isoformat(), until=last.isoformat())

        return url

    unit = Unit.GRAMS if asked.measure == "grams" else Unit.CENTS
    last = years.last_day(asked)
    is_over = (last.month, last.day) == (12, 31)
    shown = [int(name.split("_")[1]) for name in frame.columns if name.startswith("year_")]
    this_year, before = last.year, last.year - 1
    heading = str(this_year) if is_over else _("%(year)s so far") % {"year": this_year}
    return [
        Column("month", gettext_lazy("Month")),
        *(
            Column(
                f"year_{year}",
                heading if year == this_year else str(year),
                unit,
                adds_up=True,
                url=behind(year),
            )
            for year in shown
        ),
        Column(
            "before",
            _("%(year)s, the same days") % {"year": before},
            unit,
            adds_up=True,
        ),
        Column("change", gettext_lazy("Difference"), unit, adds_up=True),
        Column(
            "change_percent",
            gettext_lazy("Difference, percent"),
            Unit.PERCENT,
            part="change",
            whole="before",
        ),
    ]


def report(
    *,
    subject: Text,
    definition: tuple[Text, ...],
    nothing: Text,
    lines_url: Callable[..., str],
) -> Report:
    """Return the report, with what the other reports of sales say and lead to."""
    return Report(
        slug="year-on-year",
        title=gettext_lazy("Year on year by month"),
        sentence=gettext_lazy("Each month of this year, next to the same month of earlier years."),
        subject=subject,
        definition=(
            gettext_lazy(
                "Each month is the month in which the goods were handed over, whatever season the "
                "honey is of."
            ),
            gettext_lazy(
                "The difference is that to the year before, in the same days: of the month that "
                "is not over, only the days up to the same day of the month are compared."
            ),
            gettext_lazy(
                "A month before the first sale in your books has no figure, and so has a month "
                "that has not begun."
            ),
            *definition,
        ),
        form=YearsForm,
        frame=years.year_on_year,
        columns=partial(_columns, lines_url),
        picture=Picture(
            "lines",
            gettext_lazy("This year and the years before, month by month"),
            label="month_short",
            begins="year_",
            newest_first=True,
        ),
        opens=lambda _row, _address: None,
        nothing=nothing,
        answers=answers.of_years,
        is_unfinished=_is_unfinished,
    )
