"""Taxes through the API: rates, how goods are taxed, certificates, and the tax return."""

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import AnswerSerializer, RowSerializer
from apiary_sales.api.bases import ApiView, ListApiView
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.periods import PERIOD, period_of
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CertificateSerializer,
    InvoiceSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.billing.models import Invoice
from apiary_sales.billing.queries import tax_return
from apiary_sales.billing.services import late_certificates
from apiary_sales.customers.models import Customer, ExemptionCertificate
from apiary_sales.customers.services import certificates
from apiary_sales.pricing.models import GoodsCategory, TaxRate
from apiary_sales.pricing.services import prices, taxes
from inventory.shared.people import person_of

MANAGE_PRICES = "pricing.manage_prices"
MANAGE_CUSTOMERS = "customers.manage_customers"
SEE_MONEY = "billing.view_money"


class TaxRateSerializer(RowSerializer):
    class Meta:
        model = TaxRate
        fields = ["id", "name", "jurisdiction", "goods", "percent", "valid_from"]


class TaxRateToSetSerializer(serializers.Serializer):
    """A tax on one kind of goods, from a day on; 0 percent ends it."""

    name = StrictCharField(max_length=60)
    jurisdiction = StrictCharField(max_length=60, required=False, allow_blank=True)
    goods = serializers.ChoiceField(TaxRate.Goods.choices)
    percent = StrictDecimalField(max_digits=7, decimal_places=4, min_value=0, max_value=100)
    valid_from = serializers.DateField()


class TaxCategorySerializer(RowSerializer):
    class Meta:
        model = GoodsCategory
        fields = ["id", "goods", "category", "reason", "valid_from"]


class TaxCategoryToSetSerializer(serializers.Serializer):
    """How one kind of goods is taxed, from a day on; what is exempt needs a reason."""

    goods = serializers.ChoiceField(TaxRate.Goods.choices)
    category = serializers.ChoiceField(GoodsCategory.Category.choices)
    reason = StrictCharField(max_length=120, required=False, allow_blank=True)
    valid_from = serializers.DateField()


class CertificateToAcceptSerializer(serializers.Serializer):
    """A certificate that frees a customer from sales tax, from a day to a day."""

    number = StrictCharField(max_length=60)
    jurisdiction = StrictCharField(max_length=60, required=False, allow_blank=True)
    reason = serializers.ChoiceField(ExemptionCertificate.Reason.choices)
    other_reason = StrictCharField(max_length=80, required=False, allow_blank=True)
    valid_from = serializers.DateField()
    expires = serializers.DateField(required=False, allow_null=True)


class CertificateEndSerializer(serializers.Serializer):
    """The last day of a certificate; null where it does not expire."""

    expires = serializers.DateField(allow_null=True)


class LateCertificateSerializer(serializers.Serializer):
    """Why the law lets a certificate count for goods that were billed before it came."""

    note = StrictCharField(max_length=200)
    expected_total_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )


class SalesRowSerializer(serializers.Serializer):
    """Sales of one category (S, Z, E, O, or `elsewhere`: taxed by others only) before tax."""

    category = serializers.CharField()
    reason = serializers.CharField()
    sales_cents = serializers.IntegerField()
    credits_cents = serializers.IntegerField()
    net_cents = serializers.IntegerField()


class TaxRowSerializer(serializers.Serializer):
    """One tax at one rate."""

    name = serializers.CharField()
    jurisdiction = serializers.CharField()
    percent = serializers.DecimalField(max_digits=7, decimal_places=4)
    base_cents = serializers.IntegerField()
    charged_cents = serializers.IntegerField()
    credited_cents = serializers.IntegerField()
    tax_cents = serializers.IntegerField()


class TaxReturnSerializer(serializers.Serializer):
    """What was sold and taxed on some days, and what the book of money says of the same days."""

    since = serializers.DateField()
    until = serializers.DateField()
    jurisdiction = serializers.CharField()
    sales = SalesRowSerializer(many=True)
    taxes = TaxRowSerializer(many=True)
    gross_cents = serializers.IntegerField()
    taxable_cents = serializers.IntegerField()
    tax_cents = serializers.IntegerField()
    all_tax_cents = serializers.IntegerField()
    book_cents = serializers.IntegerField()
    difference_cents = serializers.IntegerField()


class ExemptSaleSerializer(AnswerSerializer):
    """What one bill has free of tax for one reason, and the certificate for it."""

    invoice = serializers.CharField(source="invoice.__str__")
    counts_on = serializers.DateField()
    customer = serializers.CharField(source="invoice.customer.name", default=None)
    reason = serializers.CharField()
    amount_cents = serializers.IntegerField()
    certificate = CertificateSerializer(allow_null=True)
    scans = serializers.IntegerField()


class TaxRatesApiView(ApiActView, ListApiView):
    permission_required = MANAGE_PRICES
    serializer_class = TaxRateToSetSerializer
    row_serializer_class = TaxRateSerializer
    filterset_class = filters.TaxRateListFilters
    ordering_fields = ordered_by("id", "valid_from")
    queryset = TaxRate.objects.order_by("-valid_from", "-id")

    @extend_schema(responses=TaxRateSerializer(many=True))
    def get(self, request: Request) -> Response:
        """List the tax rates ever set, the latest first."""
        return self.list(request)

    @extend_schema(responses={201: TaxRateSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Set a tax rate on one kind of goods from a day on."""
        made = prices.set_tax_rate(**self.checked())
        return Response(TaxRateSerializer(made).data, status=status.HTTP_201_CREATED)


class TaxCategoriesApiView(ApiActView, ListApiView):
    permission_required = MANAGE_PRICES
    serializer_class = TaxCategoryToSetSerializer
    row_serializer_class = TaxCategorySerializer
    filterset_class = filters.TaxCategoryListFilters
    ordering_fields = ordered_by("id", "valid_from")
    queryset = GoodsCategory.objects.order_by("-valid_from", "-id")

    @extend_schema(responses=TaxCategorySerializer(many=True))
    def get(self, request: Request) -> Response:
        """List how goods are taxed, as it was said, the latest first."""
        return self.list(request)

    @extend_schema(responses={201: TaxCategorySerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Say how one kind of goods is taxed from a day on."""
        made = taxes.set_category(**self.checked())
        return Response(TaxCategorySerializer(made).data, status=status.HTTP_201_CREATED)


class CertificatesApiView(ListApiView):
    permission_classes = [ViewPermission]
    permission_required = SEE_MONEY
    row_serializer_class = CertificateSerializer
    filterset_class = filters.CertificateListFilters
    ordering_fields = ordered_by("id", "expires", customer="customer__name")
    queryset = ExemptionCertificate.objects.select_related("customer", "accepted_by")

    @extend_schema(operation_id="certificates_list", responses=CertificateSerializer(many=True))
    def get(self, request: Request) -> Response:
        """List the certificates of all customers."""
        return self.list(request)


class CertificateAcceptApiView(ApiActView):
    permission_required = MANAGE_CUSTOMERS
    serializer_class = CertificateToAcceptSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: CertificateSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Accept a certificate of a customer."""
        customer = get_object_or_404(Customer.objects.all(), pk=pk)
        key = self.key()
        made = certificates.accept(
            customer=customer, accepted_by=person_of(request), key=key, **self.checked()
        )
        return Response(CertificateSerializer(made).data, status=status.HTTP_201_CREATED)


class CertificateEndApiView(ApiActView):
    permission_required = MANAGE_CUSTOMERS
    serializer_class = CertificateEndSerializer

    @extend_schema(responses={200: CertificateSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Change the last day of a certificate."""
        certificate = get_object_or_404(ExemptionCertificate.objects.all(), pk=pk)
        made = certificates.change_end(certificate, **self.checked())
        return Response(CertificateSerializer(made).data)


class LateCertificateApiView(ApiActView):
    permission_required = "billing.accept_late_certificates"
    serializer_class = LateCertificateSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request: Request, pk: int, invoice: int) -> Response:
        """Free an invoice from its tax by a certificate that came later; return the copy."""
        certificate = get_object_or_404(ExemptionCertificate.objects.all(), pk=pk)
        bills = Invoice.objects.filter(customer=certificate.customer_id)
        key = self.key()
        made = late_certificates.accept(
            certificate=certificate,
            invoice=get_object_or_404(bills, pk=invoice),
            accepted_by=person_of(request),
            key=key,
            **self.checked(),
        )
        return Response(InvoiceSerializer(made.copy).data, status=status.HTTP_201_CREATED)


class TaxReturnApiView(ApiView):
    permission_classes = [ViewPermission]
    permission_required = SEE_MONEY

    @extend_schema(
        operation_id="tax_return",
        parameters=[
            *PERIOD,
            OpenApiParameter(
                "jurisdiction", OpenApiTypes.STR, description="Whose tax; all when left out."
            ),
        ],
        responses=TaxReturnSerializer,
    )
    def get(self, request: Request) -> Response:
        """Say what was sold and taxed on some days, for a tax return."""
        since, until = period_of(request)
        found = tax_return.of_period(since, until, request.query_params.get("jurisdiction", ""))
        return Response(TaxReturnSerializer(found).data)


class ExemptSalesApiView(ApiView):
    permission_classes = [ViewPermission]
    permission_required = SEE_MONEY

    @extend_schema(
        operation_id="exempt_sales",
        parameters=PERIOD,
        responses=ExemptSaleSerializer(many=True),
    )
    def get(self, request: Request) -> Response:
        """List what was sold free of tax on some days, with its certificates."""
        sales: list[Any] = tax_return.exempt_sales(*period_of(request))
        return Response(ExemptSaleSerializer(sales, many=True).data)
