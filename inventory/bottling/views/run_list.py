"""All runs, in pages."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.bottling.forms_runs import RunFilterForm
from inventory.bottling.queries import runs as queries
from inventory.shared.paging import page_of


def run_list(request: HttpRequest) -> HttpResponse:
    """Show every run, the newest first, narrowed to what is asked for."""
    form = RunFilterForm(request.GET)
    asked = form.asked()
    page = page_of(request, queries.listed(**asked))
    context = {
        "form": form,
        "page": page,
        "runs": [(run, queries.figures_of(run)) for run in page],
        "is_filtered": bool(asked),
    }
    return render(request, "inventory/bottling/run_list.html", context)
