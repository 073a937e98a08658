"""Honey from others through the API: suppliers, honey bought, and honey of other beekeepers."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView
from apiary_sales.api.fields import (
    GramsCountField,
    IdField,
    PiecesCountField,
    StoreCodeField,
    VesselCodeField,
    rows_of,
)
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    LotSerializer,
    PostingSerializer,
    ReadingSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.shared.people import person_of
from inventory.stock.models import Lot, Supplier
from inventory.stock.services import others, purchases, suppliers
from inventory.stock.services.arrivals import VesselReceived

MOVE_HONEY = "inventory.move_honey"
MANAGE_SUPPLIERS = "inventory.manage_suppliers"
VESSELS_MAX = 100


class SupplierSerializer(RowSerializer):
    class Meta:
        model = Supplier
        fields = [
            "id",
            "name",
            "kind",
            "contact",
            "phone",
            "email",
            "street",
            "city",
            "region",
            "postal_code",
            "country",
            "tax_number",
            "terms_days",
            "payment_details",
            "is_active",
            "note",
        ]


class SupplierToAddSerializer(serializers.Serializer):
    """A supplier; `country` is two letters of ISO 3166-1."""

    name = StrictCharField(max_length=120)
    kind = serializers.ChoiceField(Supplier.Kind.choices, required=False)
    contact = StrictCharField(required=False, allow_blank=True, max_length=120)
    phone = StrictCharField(required=False, allow_blank=True, max_length=40)
    email = serializers.EmailField(required=False, allow_blank=True)
    street = StrictCharField(required=False, allow_blank=True, max_length=160)
    city = StrictCharField(required=False, allow_blank=True, max_length=80)
    region = StrictCharField(required=False, allow_blank=True, max_length=80)
    postal_code = StrictCharField(required=False, allow_blank=True, max_length=20)
    country = StrictCharField(required=False, allow_blank=True, max_length=2)
    tax_number = StrictCharField(required=False, allow_blank=True, max_length=40)
    terms_days = StrictIntegerField(required=False, min_value=0, max_value=365)
    payment_details = StrictCharField(required=False, allow_blank=True, max_length=300)
    is_active = serializers.BooleanField(required=False)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class SupplierToChangeSerializer(SupplierToAddSerializer):
    """What changes of a supplier; fields left out do not."""

    name = StrictCharField(required=False, max_length=120)


class VesselReceivedSerializer(serializers.Serializer):
    """Honey in one vessel: its net weight, or gross weight and empty weight."""

    place = VesselCodeField()
    net_grams = GramsCountField(required=False, allow_null=True)
    gross_grams = GramsCountField(required=False, allow_null=True)
    tare_grams = GramsCountField(required=False, allow_null=True, min_value=0)

    def validate(self, attrs: dict[str, Any]) -> Any:
        return VesselReceived(**attrs)


class ArrivalSerializer(ReadingSerializer):
    """What is said of honey that comes in; moisture in percent, as an index or in °Brix."""

    vessels = rows_of(VesselReceivedSerializer, allow_empty=False, max_length=VESSELS_MAX)
    floral_source = StrictCharField(max_length=120)
    season = StrictIntegerField(min_value=1900, max_value=2200)
    received_on = serializers.DateField()
    supplier_lot = StrictCharField(required=False, allow_blank=True, max_length=60)
    country = StrictCharField(required=False, allow_blank=True, max_length=2)
    region = StrictCharField(required=False, allow_blank=True, max_length=80)
    yard = StrictCharField(required=False, allow_blank=True, max_length=120)
    moisture_percent = StrictDecimalField(
        max_digits=4, decimal_places=2, required=False, allow_null=True
    )
    refractive_index = StrictDecimalField(
        max_digits=6, decimal_places=5, required=False, allow_null=True
    )
    refractometer_celsius = StrictDecimalField(
        max_digits=4, decimal_places=1, required=False, allow_null=True
    )
    colour_mm = StrictDecimalField(max_digits=4, decimal_places=1, required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class PurchaseSerializer(ArrivalSerializer):
    """Bought honey; a new supplier's name is added. It cost so much, or so much a unit."""

    supplier = StrictCharField(max_length=120)
    cost_cents = StrictIntegerField(
        required=False, allow_null=True, min_value=0, max_value=CENTS_MAX
    )
    price_per_pound = StrictDecimalField(
        max_digits=10, decimal_places=4, min_value=0, required=False, allow_null=True
    )


class OwnerReceiptSerializer(ArrivalSerializer):
    """Honey of a beekeeper, by name: an extraction for them, or honey that is stored."""

    owner = CodeField("name", queryset=Supplier.objects.filter(kind=Supplier.Kind.BEEKEEPER))
    kind = serializers.ChoiceField([Lot.Kind.EXTRACTION, Lot.Kind.STORED])


class HandBackSerializer(serializers.Serializer):
    """Honey given back to its owner; all of it where `grams` is null or left out."""

    place = VesselCodeField()
    grams = GramsCountField(required=False, allow_null=True, default=None)
    handed_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class HandBackJarsSerializer(serializers.Serializer):
    """Packed pieces of a lot, named by its key, given back to its owner."""

    lot = IdField(
        queryset=Lot.objects.filter(product__isnull=False).select_related("product__item", "owner")
    )
    place = StoreCodeField()
    pieces = PiecesCountField()
    handed_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class BuyFromOwnerSerializer(serializers.Serializer):
    """Honey bought from its owner; all of it where `grams` is null or left out."""

    place = VesselCodeField()
    grams = GramsCountField(required=False, allow_null=True, default=None)
    target = VesselCodeField(required=False, allow_null=True)
    cost_cents = StrictIntegerField(
        required=False, allow_null=True, min_value=0, max_value=CENTS_MAX
    )
    price_per_pound = StrictDecimalField(
        max_digits=10, decimal_places=4, min_value=0, required=False, allow_null=True
    )
    bought_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class SuppliersApiView(ApiActView, ListApiView):
    filterset_class = filters.SupplierListFilters
    ordering_fields = ordered_by("id", "name", "kind")
    permission_required = MANAGE_SUPPLIERS
    serializer_class = SupplierToAddSerializer
    row_serializer_class = SupplierSerializer
    queryset = Supplier.objects.order_by("name")

    @extend_schema(operation_id="suppliers_list", responses=SupplierSerializer(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the suppliers by name."""
        return super().get(request, *args, **kwargs)

    @extend_schema(request=SupplierToAddSerializer, responses={201: SupplierSerializer, **REFUSALS})
    def post(self, request):
        """Add a supplier. Sent twice, the second is refused, because the name is taken."""
        made = suppliers.add(**self.checked())
        return Response(SupplierSerializer(made).data, status=status.HTTP_201_CREATED)


class PurchasesApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = PurchaseSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: LotSerializer, **REFUSALS})
    def post(self, request):
        """Receive bought honey into its vessels, as one lot."""
        key = self.key()
        made = purchases.receive(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(LotSerializer(made).data, status=status.HTTP_201_CREATED)


class OwnerReceiptsApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = OwnerReceiptSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: LotSerializer, **REFUSALS})
    def post(self, request):
        """Receive honey of a beekeeper into vessels, as one lot that stays theirs."""
        key = self.key()
        made = others.receive(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(LotSerializer(made).data, status=status.HTTP_201_CREATED)


class HandBackApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = HandBackSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request):
        """Give honey in a vessel back to its owner."""
        key = self.key()
        made = others.hand_back(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)


class HandBackJarsApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = HandBackJarsSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request):
        """Give packed pieces back to the owner of their honey."""
        key = self.key()
        data = self.checked()
        made = others.hand_back_jars(
            item=data["lot"].product.item, **data, recorded_by=person_of(request), key=key
        )
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)


class BuyFromOwnerApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = BuyFromOwnerSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: LotSerializer, **REFUSALS})
    def post(self, request):
        """Buy honey that is here from its owner; it becomes a bought lot of the house."""
        key = self.key()
        made = others.buy(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(LotSerializer(made).data, status=status.HTTP_201_CREATED)


class SupplierChangeApiView(ApiActView):
    permission_required = MANAGE_SUPPLIERS
    serializer_class = SupplierToChangeSerializer

    @extend_schema(responses={200: SupplierSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Change a supplier; fields left out do not change."""
        supplier = get_object_or_404(Supplier, pk=pk)
        made = suppliers.change(supplier, **self.checked())
        return Response(SupplierSerializer(made).data)
