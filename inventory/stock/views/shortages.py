"""What was taken although the books had none of it, and how it is settled."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.stock.queries import shortages

SETTLED_A_PAGE = 50


def shortage_list(request: HttpRequest) -> HttpResponse:
    """Show all that is to be settled, and below it what was settled, in pages."""
    page = Paginator(shortages.settled(), SETTLED_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "shortages": shortages.open_rows(),
        "settled": shortages.rows(page),
        "page": page,
    }
    return render(request, "inventory/stock/shortage_list.html", context)
