"""Labels of drums as PDF: which ones, and the paper."""

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from inventory.shared import documents
from inventory.shared.models import House
from inventory.stock.models import Place
from inventory.stock.queries import drum_labels as queries

MOVE_HONEY = "inventory.move_honey"


@permission_required(MOVE_HONEY, raise_exception=True)
def drum_labels(request: HttpRequest) -> HttpResponse:
    """Choose the drums to print labels for."""
    return render(request, "inventory/honey/drum_labels.html", {"drums": queries.drums()})


@permission_required(MOVE_HONEY, raise_exception=True)
def drum_labels_pdf(request: HttpRequest) -> HttpResponse:
    """Answer with the labels of the drums named in the address, or of all that have honey."""

    def address_of(place: Place) -> str:
        return request.build_absolute_uri(reverse("inventory:place_detail", args=[place.code]))

    labels = queries.labels(request.GET.getlist("drum"), address_of=address_of)
    if not labels:
        return redirect("inventory:drum_labels")
    context = {
        "labels": labels,
        "page_size": documents.PAGE_SIZES[House.Paper(House.current().paper)],
    }
    try:
        content = documents.render_pages("documents/drum_labels.html", context)
    except documents.PdfUnavailable as error:
        return render(request, "documents/unavailable.html", {"error": error}, status=503)
    name = f"drum-label-{labels[0].place.code}.pdf" if len(labels) == 1 else "drum-labels.pdf"
    return documents.pdf_response(name, content)
