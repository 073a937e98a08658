"""Pages of the certificates that free customers from sales tax."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.customers import queries
from apiary_sales.customers.forms import CertificateEndForm, CertificateForm
from apiary_sales.customers.models import Customer, ExemptionCertificate
from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.customers.services import certificates
from inventory.shared.people import person_of
from inventory.shared.views import ActView

MANAGE = "customers.manage_customers"


@require_GET
@sees_buyers
def certificate_list(request: HttpRequest) -> HttpResponse:
    """Answer: whose certificate expires next."""
    rows = queries.certificates_of_all(timezone.localdate())
    return render(request, "customers/certificates.html", {"rows": rows})


@require_GET
@sees_buyers
def certificate_detail(request: HttpRequest, pk: int) -> HttpResponse:
    found = ExemptionCertificate.objects.select_related("customer", "accepted_by")
    certificate = get_object_or_404(found, pk=pk)
    state = queries.state_of(certificate, timezone.localdate())
    return render(
        request, "customers/certificate.html", {"certificate": certificate, "state": state}
    )


class CertificateAcceptView(ActView):
    """Accept a certificate of a customer."""

    permission_required = MANAGE
    form_class = CertificateForm
    template_name = "customers/certificate_accept.html"

    def prepare(self) -> None:
        self.customer = get_object_or_404(Customer, pk=self.kwargs["pk"])

    def get_initial(self) -> dict[str, Any]:
        return {"jurisdiction": self.customer.region}

    def act(self, data: dict[str, Any]) -> ExemptionCertificate:
        return certificates.accept(
            customer=self.customer, accepted_by=person_of(self.request), **data
        )

    def done_message(self, made: ExemptionCertificate) -> str:
        return _("The certificate %(number)s of %(customer)s is accepted. Attach a scan of it.") % {
            "number": made.number,
            "customer": self.customer,
        }

    def next_url(self, made: ExemptionCertificate) -> str:
        return reverse("customers:certificate", args=[made.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(customer=self.customer, **kwargs)


class CertificateEndView(ActView):
    """Change the last day of a certificate."""

    permission_required = MANAGE
    form_class = CertificateEndForm
    template_name = "customers/certificate_end.html"

    def prepare(self) -> None:
        found = ExemptionCertificate.objects.select_related("customer")
        self.certificate = get_object_or_404(found, pk=self.kwargs["pk"])

    def get_initial(self) -> dict[str, Any]:
        return {"expires": self.certificate.expires}

    def act(self, data: dict[str, Any]) -> ExemptionCertificate:
        return certificates.change_end(self.certificate, expires=data["expires"])

    def done_message(self, made: ExemptionCertificate) -> str:
        if made.expires is None:
            return _("The certificate %(number)s does not expire.") % {"number": made.number}
        return _("The certificate %(number)s expires on %(day)s.") % {
            "number": made.number,
            "day": date_format(made.expires),
        }

    def next_url(self, made: ExemptionCertificate) -> str:
        return reverse("customers:certificate", args=[made.pk])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(certificate=self.certificate, **kwargs)
