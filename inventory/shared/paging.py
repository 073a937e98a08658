"""Long lists in pages: the number of the page and the filters are in the address.

A list is shown with `_pagination.html`, which keeps the filters of the address. One that has no
filters of its own is narrowed to some days by `by_days`, with `_days_filter.html` above it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import HttpRequest

from inventory.shared import days
from inventory.shared.forms.days import DaysForm

ROWS_A_PAGE = 50


@dataclass(frozen=True)
class DaysOfList:
    """One page of a list that may be narrowed to some days, and the form that narrows it.

    `others` are what else the address asks for, and keeps.
    """

    form: DaysForm
    page: Page[Any]
    is_filtered: bool
    others: list[tuple[str, str]]

    @property
    def is_long(self) -> bool:
        """Whether there is anything to narrow."""
        return self.is_filtered or self.page.paginator.num_pages > 1


def page_of(
    request: HttpRequest, found: QuerySet[Any] | Sequence[Any], rows: int = ROWS_A_PAGE
) -> Page[Any]:
    """Return the page that is asked for; the nearest one where it is none of them."""
    return Paginator(found, rows).get_page(request.GET.get("page"))


def by_days(
    request: HttpRequest, found: QuerySet[Any], day: str, rows: int = ROWS_A_PAGE
) -> DaysOfList:
    """Narrow a list to the days that are asked for; `day` is the field, or `…__date` of a moment.

    Days that can't be read narrow nothing; the form says so.
    """
    form = DaysForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    first, last = asked.get("first"), asked.get("last")
    if day.endswith("__date"):
        found = found.filter(**days.lookups(day.removesuffix("__date"), first, last))
    else:
        if first:
            found = found.filter(**{f"{day}__gte": first})
        if last:
            found = found.filter(**{f"{day}__lte": last})
    own = {*form.fields, "page"}
    others = [(name, str(value)) for name, value in request.GET.items() if name not in own]
    return DaysOfList(form, page_of(request, found, rows), bool(first or last), others)
