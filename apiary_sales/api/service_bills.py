"""Services through the API: what the house offers, and a bill for what is done."""

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView, RetrieveApiView
from apiary_sales.api.fields import rows_of
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    InvoiceSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.billing.services import service_bills
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules import service_units
from apiary_sales.orders.rules.lines import LINES_MAX, LineWanted
from apiary_sales.pricing.models import Service
from inventory.shared.people import person_of


class ServiceSerializer(RowSerializer):
    class Meta:
        model = Service
        fields = ["id", "code", "name", "unit", "usual_price", "taxed_as", "is_active"]


class ServiceLineSerializer(serializers.Serializer):
    """So much of a service in its unit, to two decimals; at its usual price unless another."""

    service = CodeField(queryset=Service.objects.filter(is_active=True))
    amount = StrictDecimalField(max_digits=9, decimal_places=2, min_value=0, source="quantity")
    unit_price = StrictDecimalField(
        max_digits=12, decimal_places=4, min_value=0, required=False, allow_null=True
    )
    discount_cents = StrictIntegerField(required=False, min_value=0, max_value=CENTS_MAX)
    description = StrictCharField(required=False, allow_blank=True, max_length=200)

    def validate(self, attrs: dict[str, Any]) -> Any:
        service, price = attrs["service"], attrs.pop("unit_price", None)
        price = service.usual_price if price is None else price
        if price is None:
            raise serializers.ValidationError(
                {
                    "unit_price": _("%(service)s has no usual price. Enter one.")
                    % {"service": service.name}
                }
            )
        quantity = service_units.hundredths(attrs.pop("quantity"))
        return LineWanted(OrderLine.Kind.SERVICE, quantity, price, **attrs)


class ServiceBillSerializer(serializers.Serializer):
    """Services that are done; `over_limit` bills beyond the customer's credit limit."""

    lines = rows_of(ServiceLineSerializer, allow_empty=False, max_length=LINES_MAX)
    billed_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)
    over_limit = serializers.BooleanField(required=False)


class ServicesApiView(ListApiView):
    """The services of the house, in use or not, with their unit and usual price."""

    filterset_class = filters.ServiceListFilters
    ordering_fields = ordered_by("id", "code", "name")
    permission_classes = [ViewPermission]
    serializer_class = ServiceSerializer
    queryset = Service.objects.order_by("name")


class ServiceApiView(RetrieveApiView):
    """One service, with its unit and usual price."""

    queryset = Service.objects.all()
    serializer_class = ServiceSerializer
    lookup_field = "code"


class ServiceBillsApiView(ApiActView):
    permission_required = ("billing.issue_invoices", "orders.take_orders")
    serializer_class = ServiceBillSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Bill a customer for services that are done."""
        customer = get_object_or_404(Customer, pk=pk)
        key = self.key()
        made = service_bills.bill(
            customer=customer, **self.checked(), billed_by=person_of(request), key=key
        )
        return Response(InvoiceSerializer(made).data, status=status.HTTP_201_CREATED)
