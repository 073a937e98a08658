"""Long lists in pages: the number of the page and the filters are in the address.

A list is shown with `_pagination.html`, which keeps the filters of the address.
"""

from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import HttpRequest

ROWS_A_PAGE = 50


def page_of(request: HttpRequest, found: QuerySet[Any], rows: int = ROWS_A_PAGE) -> Page[Any]:
    """Return the page that is asked for; the nearest one where it is none of them."""
    return Paginator(found, rows).get_page(request.GET.get("page"))
