"""The page of all that was found, and the same as a list under the box while a person types."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from django.views.decorators.vary import vary_on_headers

from apiary_sales.finding import queries
from apiary_sales.finding.rules import TYPED_MAX
from inventory.shared import findable
from inventory.shared.htmx import HtmxRequest
from inventory.shared.row_keys import row_key


@require_safe
@vary_on_headers("HX-Request")
def find(request: HtmxRequest) -> HttpResponse:
    """Show what fits `q`, kind by kind; all of one kind with `kind`, from `before` on."""
    asked = request.GET.get("q", "")[:TYPED_MAX]
    if request.htmx:
        found = queries.find(asked, user=request.user, a_kind=queries.A_KIND_TYPING)
        return render(request, "finding/_list.html", {"found": found, "asked": asked})
    only = _kind(request)
    found = queries.find(
        asked,
        user=request.user,
        a_kind=queries.OF_ONE_KIND if only else queries.A_KIND,
        only=only,
        before=_before(request) if only else None,
    )
    label = next((kind.label for kind in findable.kinds() if kind.name == only), "")
    context = {"found": found, "asked": asked, "only": only, "label": label}
    return render(request, "finding/page.html", context)


def _kind(request: HttpRequest) -> str:
    asked = request.GET.get("kind", "")
    return asked if any(kind.name == asked for kind in findable.kinds()) else ""


def _before(request: HttpRequest) -> int | None:
    return row_key(request.GET.get("before")) or None
