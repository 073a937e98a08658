"""The public page of a receipt, to which its QR code leads: what the paper says, and no more."""

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.template.loader import render_to_string
from django.utils.translation import get_language

from apiary_sales.billing import papers
from apiary_sales.billing.queries import receipts
from inventory.shared import public_pages

# Only the buyer's own browser keeps it.
CACHE_CONTROL = f"private, max-age={public_pages.SERVER_SECONDS}"


@public_pages.public
def read_receipt(request: HttpRequest, code: str) -> HttpResponseBase:
    return public_pages.answer(
        request,
        name="receipt",
        asked=[code],
        make=lambda: _html_of(code),
        not_found=not_found,
        cache_control=CACHE_CONTROL,
    )


@public_pages.public
def no_receipt(request: HttpRequest) -> HttpResponseBase:
    """Answer an address without the code of a receipt."""
    return not_found(request)


def not_found(request: HttpRequest) -> HttpResponse:
    html = render_to_string("billing/read_receipt/not_found.html", {"language": get_language()})
    return public_pages.headed(HttpResponse(html, status=404), CACHE_CONTROL)


def _html_of(code: str) -> str | None:
    receipt = receipts.read_by(code)
    if receipt is None:
        return None
    # Nothing leads on from here, so it needs no address of its own.
    context = {**papers.receipt_context(receipt, site=""), "language": get_language()}
    return render_to_string("billing/read_receipt/page.html", context)
