"""Invoices with data for the buyer's program, through the API."""

from django.conf import settings
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.serializers import CustomerSerializer, ProblemSerializer, StrictCharField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from apiary_sales.billing import structured_invoices
from apiary_sales.billing.models import Invoice
from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import customers
from inventory.shared import documents

CONFLICT = {(409, "application/problem+json"): ProblemSerializer}
XML = {(200, "application/xml"): OpenApiTypes.BINARY, **CONFLICT}


class XmlRenderer(JSONRenderer):
    """Lets a client ask for XML alone; a refusal is written as JSON all the same."""

    media_type = "application/xml"
    format = "xml"


def _invoice(pk: int) -> Invoice:
    found = Invoice.objects.select_related("customer", "order", "credits", "corrects")
    return get_object_or_404(found, pk=pk)


class InvoiceUblApiView(PaperApiView):
    permission_required = "billing.view_money"
    renderer_classes = [JSONRenderer, XmlRenderer]

    @extend_schema(operation_id="invoice_ubl", responses=XML)
    def get(self, request, pk: int):
        """An invoice or credit note as UBL 2.1, by EN 16931."""
        invoice = _invoice(pk)
        return documents.xml_response(f"{invoice}.xml", structured_invoices.ubl(invoice))


class InvoiceHybridApiView(PaperApiView):
    permission_required = "billing.view_money"

    @extend_schema(operation_id="invoice_hybrid", responses={**PDF, **CONFLICT})
    def get(self, request, pk: int):
        """An invoice or credit note as PDF/A-3 with its data inside (Factur-X, EN 16931)."""
        invoice = _invoice(pk)
        return documents.pdf_response(f"{invoice}.pdf", structured_invoices.hybrid(invoice))


class InvoiceDetailsSerializer(serializers.Serializer):
    """What invoices with data say of a customer; fields left out do not change."""

    invoice_format = serializers.ChoiceField(choices=Customer.InvoiceFormat.choices, required=False)
    country_code = StrictCharField(
        max_length=2, required=False, allow_blank=True, help_text="Two letters of ISO 3166-1."
    )
    tax_number = StrictCharField(max_length=40, required=False, allow_blank=True)
    buyer_reference = StrictCharField(max_length=60, required=False, allow_blank=True)
    language = serializers.ChoiceField(
        choices=settings.LANGUAGES,
        required=False,
        allow_blank=True,
        help_text="Of the papers; empty is the language of the house.",
    )


class InvoiceDetailsApiView(ApiActView):
    permission_required = "customers.manage_customers"
    serializer_class = InvoiceDetailsSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: CustomerSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Say how a customer gets invoices, and what they say of the customer."""
        customer = get_object_or_404(Customer, pk=pk)
        # Saying it again changes nothing, so that the key need not be kept.
        self.key()
        changed = customers.set_invoice_details(customer, **self.checked())
        return Response(CustomerSerializer(changed).data, status=status.HTTP_200_OK)
