"""Receipts of the stand: the list, and one receipt as a page and as a paper."""

from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.billing import papers
from apiary_sales.billing.forms.receipts import ReceiptFilterForm
from apiary_sales.billing.forms.stand_messages import SELL
from apiary_sales.billing.models import Invoice
from apiary_sales.billing.queries import receipts as queries
from inventory.shared import documents, public_address
from inventory.shared.models import House

RECEIPTS_A_PAGE = 40


@require_GET
@permission_required(SELL, raise_exception=True)
def receipt_list(request: HttpRequest) -> HttpResponse:
    """Show what was sold at the stand, newest first."""
    form = ReceiptFilterForm(request.GET, user=request.user)
    asked = form.asked()
    found = queries.found(user=request.user, **asked)
    page = Paginator(found.keys, RECEIPTS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page_obj": page,
        "rows": found.listed(list(page)),
        "has_older": found.has_older,
        "is_filtered": bool(asked),
        "is_narrowed": bool(asked.keys() - {"text"}),
        **found.sums,
    }
    return render(request, "billing/receipt_list.html", context)


@require_GET
@permission_required(SELL, raise_exception=True)
def receipt(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one receipt in large type, with what can be done with it."""
    context = papers.receipt_context(_receipt(request, pk), public_address.beginning(request))
    del context["house"]
    context["receipt_papers"] = _papers()
    context["host"] = request.get_host()
    return render(request, "billing/receipt.html", context)


@require_GET
@permission_required(SELL, raise_exception=True)
def receipt_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    receipt = _receipt(request, pk)
    paper = request.GET.get("paper", "")
    if paper and paper not in House.ReceiptPaper:
        raise Http404
    site = public_address.beginning(request)
    return documents.answer(
        request,
        name=_("Receipt %(number)s.pdf") % {"number": receipt},
        make=lambda: papers.receipt(receipt, paper, site),
    )


def _receipt(request: HttpRequest, pk: int) -> Invoice:
    return get_object_or_404(queries.seen_by(request.user), pk=pk)


def _papers() -> list[tuple[str, str]]:
    """Return what a receipt can be printed on, with its name; what the house uses comes first."""
    house = House.current()
    page = _("%(paper)s paper") % {"paper": house.get_paper_display()}
    named = [
        (paper.value, page if paper == House.ReceiptPaper.PAGE else str(paper.label))
        for paper in House.ReceiptPaper
    ]
    return sorted(named, key=lambda choice: choice[0] != house.receipt_paper)
