"""The tax return, sales free of tax, and certificates that came late."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.billing.forms.taxes import LateCertificateForm, TaxReturnForm
from apiary_sales.billing.models import Invoice, LateCertificate
from apiary_sales.billing.queries import tax_return
from apiary_sales.billing.services import corrected_invoices, late_certificates
from apiary_sales.billing.views import money_moves
from apiary_sales.customers.models import ExemptionCertificate
from inventory.shared import documents, words
from inventory.shared.csv_files import csv_response
from inventory.shared.forms.days import PeriodForm
from inventory.shared.htmx import HtmxRequest
from inventory.shared.people import person_of
from inventory.shared.typed import Mistyped, read_number
from inventory.shared.views import ActView
from inventory.shared.workbooks import xlsx_response

SEE = "billing.view_money"
ACCEPT = "billing.accept_late_certificates"
PAGE_LENGTH = 100


def _asked(request: HttpRequest) -> tuple[TaxReturnForm, tax_return.TaxReturn]:
    form, since, until, jurisdiction = TaxReturnForm.of(request.GET, tax_return.jurisdictions())
    return form, tax_return.of_period(since, until, jurisdiction)


@require_GET
@permission_required(SEE, raise_exception=True)
def return_page(request: HttpRequest) -> HttpResponse:
    """Answer: what is to be declared for a period, and whether the book of money agrees."""
    form, found = _asked(request)
    context = {
        "form": form,
        "found": found,
        "query": _query(found),
        "pay_query": money_moves.query_of_tax(
            found.tax_cents,
            ", ".join(filter(None, [tax_return.title_of(found), found.jurisdiction])),
        ),
    }
    return render(request, "billing/tax_return.html", context)


def _query(found: tax_return.TaxReturn) -> QueryDict:
    """Return what an address of the same return asks for."""
    query = QueryDict(mutable=True)
    query.update({"since": found.since.isoformat(), "until": found.until.isoformat()})
    query["jurisdiction"] = found.jurisdiction
    return query


@require_GET
@permission_required(SEE, raise_exception=True)
def return_pdf(request: HttpRequest) -> HttpResponse:
    _form, found = _asked(request)
    return documents.serve(
        request,
        name=f"{tax_return.title_of(found)}.pdf",
        template_name="documents/tax_return.html",
        context={"found": found},
    )


@require_GET
@permission_required(SEE, raise_exception=True)
def return_csv(request: HttpRequest) -> HttpResponse:
    _form, found = _asked(request)
    return csv_response(f"{tax_return.title_of(found)}.csv", found.table())


@require_GET
@permission_required(SEE, raise_exception=True)
def return_xlsx(request: HttpRequest) -> HttpResponse:
    _form, found = _asked(request)
    exempt = tax_return.exempt_sales(found.since, found.until)
    sheets = [
        (_("Tax return"), found.table()),
        (_("Sales free of tax"), tax_return.exempt_table(exempt)),
    ]
    return xlsx_response(f"{tax_return.title_of(found)}.xlsx", sheets)


@require_GET
@permission_required(SEE, raise_exception=True)
def return_documents(request: HttpRequest) -> HttpResponse:
    """Show the bills behind one figure of the return."""
    _form, found = _asked(request)
    try:
        percent = read_number(request.GET.get("percent", ""), decimal_sign=".")
    except Mistyped:
        percent = None
    asked = {name: request.GET.get(name, "") for name in ("category", "name")}
    rows = tax_return.documents(
        found.since,
        found.until,
        jurisdiction=found.jurisdiction,
        reason=request.GET.get("reason"),
        percent=percent,
        **asked,
    )
    context = {
        "found": found,
        "query": _query(found),
        "what": _what(request, asked),
        "page_obj": Paginator(rows, PAGE_LENGTH).get_page(request.GET.get("page")),
        "amount_cents": sum(row.amount_cents for row in rows),
        "tax_cents": sum(row.tax_cents for row in rows),
    }
    return render(request, "billing/tax_documents.html", context)


def _what(request: HttpRequest, asked: dict[str, str]) -> str:
    if asked["name"]:
        return asked["name"]
    if asked["category"] not in tax_return.ORDER:
        return _("all sales")
    row = tax_return.SalesRow(asked["category"], request.GET.get("reason", ""), 0, 0)
    return f"{row.label}: {row.reason}" if row.reason else row.label


@require_GET
@permission_required(SEE, raise_exception=True)
def exempt_page(request: HttpRequest) -> HttpResponse:
    """Show what was sold free of tax, and the certificate for each."""
    form, since, until = PeriodForm.asked(request.GET)
    is_all = "all" in request.GET
    sales = tax_return.exempt_sales(since, until, with_certificate=not is_all)
    context = {
        "form": form,
        "is_all": is_all,
        "since": since,
        "until": until,
        "page_obj": Paginator(sales, PAGE_LENGTH).get_page(request.GET.get("page")),
        "amount_cents": sum(sale.amount_cents for sale in sales),
        "without_scan": sum(1 for sale in sales if sale.certificate and not sale.scans),
    }
    return render(request, "billing/exempt_sales.html", context)


@require_GET
@permission_required(SEE, raise_exception=True)
def exempt_csv(request: HttpRequest) -> HttpResponse:
    _form, since, until = PeriodForm.asked(request.GET)
    sales = tax_return.exempt_sales(since, until, with_certificate="all" not in request.GET)
    rows = tax_return.exempt_table(sales)
    name = _("Sales free of tax %(first)s to %(last)s.csv")
    return csv_response(name % {"first": since.isoformat(), "last": until.isoformat()}, rows)


@require_GET
@permission_required(SEE, raise_exception=True)
def late_certificate(request: HtmxRequest, pk: int) -> HttpResponse:
    """Show the invoices with tax that a certificate may free, and those that it freed."""
    found = ExemptionCertificate.objects.select_related("customer")
    certificate = get_object_or_404(found, pk=pk)
    context = {
        "certificate": certificate,
        "taxed": late_certificates.taxed_before(certificate),
        "partly_credited": late_certificates.partly_credited_before(certificate),
        "freed": certificate.late.select_related("invoice", "copy", "accepted_by"),
    }
    template = "_late_certificate.html" if request.htmx else "late_certificate.html"
    return render(request, f"billing/{template}", context)


class LateCertificateView(ActView):
    """Accept a certificate for an invoice that was issued with tax before it came."""

    permission_required = ACCEPT
    form_class = LateCertificateForm
    template_name = "billing/late_certificate_accept.html"

    def prepare(self) -> None:
        found = ExemptionCertificate.objects.select_related("customer")
        self.certificate = get_object_or_404(found, pk=self.kwargs["pk"])
        bills = Invoice.objects.filter(customer=self.certificate.customer)
        self.invoice = get_object_or_404(bills, pk=self.kwargs["invoice"])
        may_be_freed = late_certificates.taxed_before(self.certificate)
        partly_credited = late_certificates.partly_credited_before(self.certificate)
        self.is_partly_credited = partly_credited.filter(pk=self.invoice.pk).exists()
        self.draft = None
        if may_be_freed.filter(pk=self.invoice.pk).exists():
            self.draft = corrected_invoices.draft(self.invoice, certificate=self.certificate)

    def get_initial(self) -> dict[str, Any]:
        return {"expected_total_cents": self.draft.invoice.total_cents if self.draft else None}

    def act(self, data: dict[str, Any]) -> LateCertificate:
        return late_certificates.accept(
            certificate=self.certificate,
            invoice=self.invoice,
            accepted_by=person_of(self.request),
            **data,
        )

    def done_message(self, made: LateCertificate) -> str:
        return _(
            "Invoice %(invoice)s is credited, and %(copy)s bills %(total)s without its tax."
        ) % {
            "invoice": made.invoice,
            "copy": made.copy,
            "total": words.money(made.copy.total_cents),
        }

    def next_url(self, made: LateCertificate) -> str:
        return reverse("customers:certificate", args=[self.certificate.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            certificate=self.certificate,
            invoice=self.invoice,
            draft=self.draft.invoice if self.draft else None,
            is_partly_credited=self.is_partly_credited,
            **kwargs,
        )
