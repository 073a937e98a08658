"""Invoices with data for the buyer's program, to download."""

from collections.abc import Callable

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.billing import structured_invoices
from apiary_sales.billing.models import Invoice
from inventory.shared import documents
from inventory.shared.documents import PdfUnavailable
from inventory.shared.errors import NotAllowedNow

SEE = "billing.view_money"


@require_GET
@permission_required(SEE, raise_exception=True)
def ubl(request: HttpRequest, pk: int) -> HttpResponse:
    """Answer with the UBL 2.1 file of an invoice, or go back to it and say what is missing."""
    return _or_back(
        request,
        pk,
        lambda invoice: documents.xml_response(f"{invoice}.xml", structured_invoices.ubl(invoice)),
    )


@require_GET
@permission_required(SEE, raise_exception=True)
def hybrid(request: HttpRequest, pk: int) -> HttpResponse:
    """Answer with the PDF that has the data of an invoice inside, or say what is missing."""
    name = _("%(number)s with data.pdf")
    return _or_back(
        request,
        pk,
        lambda invoice: documents.pdf_response(
            name % {"number": invoice}, structured_invoices.hybrid(invoice)
        ),
    )


def _or_back(
    request: HttpRequest, pk: int, answer: Callable[[Invoice], HttpResponse]
) -> HttpResponse:
    found = Invoice.objects.select_related("customer", "order", "credits", "corrects")
    invoice = get_object_or_404(found, pk=pk)
    try:
        return answer(invoice)
    except NotAllowedNow as error:
        messages.error(request, error.message)
        return redirect("billing:invoice_detail", pk=pk)
    except PdfUnavailable as error:
        return render(request, "documents/unavailable.html", {"error": error}, status=503)
