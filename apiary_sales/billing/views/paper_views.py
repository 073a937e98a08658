"""Papers of an order and of a payment that are made on demand, and the logo on all of them."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from apiary_sales.billing import papers
from apiary_sales.billing.forms.logo import LogoForm
from apiary_sales.billing.models import Payment
from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders.models import Order
from inventory.shared import documents, logo_files
from inventory.shared.file_views import CONTENT_SECURITY_POLICY
from inventory.shared.models import House
from inventory.shared.queries import house as house_logo
from inventory.shared.services import house as house_details
from inventory.shared.views import ActView

SEE = "billing.view_money"
ISSUE = "billing.issue_invoices"


@sees_buyers
@require_safe
def pro_forma_pdf(request: HttpRequest, number: str) -> HttpResponse:
    order = get_object_or_404(Order.objects.select_related("customer"), number=number)
    if not papers.has_pro_forma(order):
        raise Http404
    return documents.answer(
        request, name=f"pro-forma-{order.number}.pdf", make=lambda: papers.pro_forma(order)
    )


@require_safe
@permission_required(SEE, raise_exception=True)
def payment_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    found = Payment.objects.select_related("customer")
    payment = get_object_or_404(found, pk=pk)
    if not payment.has_receipt:
        raise Http404
    return documents.answer(
        request,
        name=_("Receipt for payment %(number)s.pdf") % {"number": payment.pk},
        make=lambda: papers.payment(payment),
    )


@require_safe
@permission_required(ISSUE, raise_exception=True)
def logo(request: HttpRequest) -> HttpResponse:
    """Show the logo alone; in a browser it runs nothing and loads nothing."""
    content = house_logo.read(House.current())
    if not content:
        raise Http404
    return HttpResponse(
        content,
        content_type=logo_files.media_type(content),
        headers={
            "Content-Security-Policy": CONTENT_SECURITY_POLICY,
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-store",
        },
    )


class LogoView(ActView):
    """Put a logo on every paper, or take it off."""

    permission_required = ISSUE
    form_class = LogoForm
    template_name = "billing/logo.html"

    def act(self, data: dict[str, Any]) -> House:
        if data["is_removed"]:
            return house_details.remove_logo()
        return house_details.set_logo(file=data["file"])

    def done_message(self, made: House) -> str:
        if made.logo:
            return _("The logo is on every paper from now on.")
        return _("Papers have no logo from now on.")

    def next_url(self, made: House) -> str:
        return reverse("billing:settings")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "has_logo": bool(House.current().logo)}
