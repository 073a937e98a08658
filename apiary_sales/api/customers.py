"""Customers through the API: added, changed, and erased as people."""

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.fields import IdField, StrictModelSerializer
from apiary_sales.api.serializers import CustomerSerializer, StrictCharField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from apiary_sales.customers.models import Customer, Erasure
from apiary_sales.customers.services import customers, personal_data
from inventory.shared.people import person_of
from inventory.stock.models import Supplier

MANAGE_CUSTOMERS = "customers.manage_customers"


class CustomerToChangeSerializer(StrictModelSerializer):
    """What changes of a customer; fields left out do not."""

    supplier = IdField(
        queryset=Supplier.objects.all(),
        required=False,
        allow_null=True,
        help_text="The beekeeper whose honey is worked on here, and who is billed for it.",
    )

    class Meta:
        model = Customer
        fields = [
            "name",
            "kind",
            "tier",
            "contact",
            "email",
            "phone",
            "street",
            "city",
            "region",
            "postal_code",
            "country",
            "country_code",
            "tax_number",
            "language",
            "invoice_format",
            "buyer_reference",
            "terms_days",
            "discount_percent",
            "discount_days",
            "credit_limit_cents",
            "is_active",
            "note",
            "supplier",
        ]
        # The service says that a name is taken.
        extra_kwargs: ClassVar[dict[str, Any]] = {"name": {"validators": [], "required": False}}


class CustomerToAddSerializer(CustomerToChangeSerializer):
    """A customer; what is left out takes its usual value."""

    class Meta(CustomerToChangeSerializer.Meta):
        extra_kwargs: ClassVar[dict[str, Any]] = {"name": {"validators": []}}


class CustomerToEraseSerializer(serializers.Serializer):
    """Who asked for it, and how, without the name."""

    asked = StrictCharField(max_length=200)


class ErasureSerializer(serializers.ModelSerializer):
    """That the personal data of a customer is erased."""

    customer_id = serializers.IntegerField()
    erased_by = serializers.CharField(source="erased_by.username")

    class Meta:
        model = Erasure
        fields = ["id", "customer_id", "asked", "erased_at", "erased_by"]


class CustomersAddApiView(ApiActView):
    permission_required = MANAGE_CUSTOMERS
    serializer_class = CustomerToAddSerializer

    @extend_schema(responses={201: CustomerSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add a customer. Sent twice, the second is refused, because the name is taken."""
        made = customers.add(**self.checked())
        return Response(CustomerSerializer(made).data, status=status.HTTP_201_CREATED)


class CustomerChangeApiView(ApiActView):
    permission_required = MANAGE_CUSTOMERS
    serializer_class = CustomerToChangeSerializer

    @extend_schema(responses={200: CustomerSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Change a customer; orders and invoices that are there stay as they were made."""
        customer = get_object_or_404(Customer, pk=pk)
        return Response(CustomerSerializer(customers.change(customer, **self.checked())).data)


class CustomerEraseApiView(ApiActView):
    permission_required = "customers.erase_customers"
    serializer_class = CustomerToEraseSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: ErasureSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Erase what the books need not keep of a customer; it can't be undone."""
        customer = get_object_or_404(Customer, pk=pk)
        key = self.key()
        made = personal_data.erase(
            customer=customer, **self.checked(), erased_by=person_of(request), key=key
        )
        return Response(ErasureSerializer(made).data, status=status.HTTP_201_CREATED)
