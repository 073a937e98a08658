"""Packaging parts through the API: added, changed, brought in, and what a supplier asks."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.fields import PiecesCountField, StoreCodeField
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.bottling.models import PackagingPart, PartReceipt
from inventory.bottling.services import parts
from inventory.shared.people import person_of

MANAGE_PARTS = "inventory.manage_parts"


class PartQuoteSerializer(serializers.Serializer):
    """The price of one, null to take it off, and the day of the quote; today when left out."""

    unit_price = StrictDecimalField(max_digits=12, decimal_places=4, min_value=0, allow_null=True)
    quoted_on = serializers.DateField(required=False, allow_null=True)


class QuotedPartSerializer(RowSerializer):
    """A part with its quoted price."""

    class Meta:
        model = PackagingPart
        fields = ["id", "code", "name", "kind", "quoted_price", "quoted_on"]


class PartQuoteApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = PartQuoteSerializer

    @extend_schema(responses={200: QuotedPartSerializer, **REFUSALS})
    def put(self, request: Request, code: str) -> Response:
        """Note what a supplier asks for one of a part."""
        part = get_object_or_404(PackagingPart, code=code)
        return Response(QuotedPartSerializer(parts.quote(part=part, **self.checked())).data)


class PackagingPartSerializer(serializers.ModelSerializer):
    """A part that products are made up from; `reorder_point` is in pieces."""

    class Meta:
        model = PackagingPart
        fields = ["id", "code", "name", "kind", "reorder_point", "lead_time_days", "is_active"]


class PartToSaveSerializer(serializers.Serializer):
    """A part; `lead_time_days` from an order to its delivery, null while they are not known."""

    name = StrictCharField(max_length=80)
    kind = serializers.ChoiceField(PackagingPart.Kind.choices)
    reorder_point = PiecesCountField(required=False, min_value=0)
    lead_time_days = StrictIntegerField(
        required=False, allow_null=True, min_value=0, max_value=parts.LEAD_TIME_DAYS_MAX
    )
    is_active = serializers.BooleanField(required=False)


class PartsToReceiveSerializer(serializers.Serializer):
    """So many of a part, with what all of them cost; a supplier by a new name is added."""

    part = CodeField(queryset=PackagingPart.objects.all())
    place = StoreCodeField()
    pieces = PiecesCountField()
    cost_cents = StrictIntegerField(min_value=0, max_value=CENTS_MAX)
    supplier = StrictCharField(allow_blank=True, max_length=120)
    received_on = serializers.DateField()


class PartsReceivedSerializer(serializers.ModelSerializer):
    """A delivery of a part."""

    part = serializers.CharField(source="part.code")
    part_id = serializers.IntegerField()
    supplier = serializers.CharField(source="supplier.name", default=None)
    supplier_id = serializers.IntegerField(allow_null=True)

    class Meta:
        model = PartReceipt
        fields = [
            "id",
            "part",
            "part_id",
            "pieces",
            "cost_cents",
            "supplier",
            "supplier_id",
            "received_on",
        ]


class PartsAddApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = PartToSaveSerializer

    @extend_schema(responses={201: PackagingPartSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add a part. Sent twice, the second is refused, because the name is taken."""
        made = parts.save(**self.checked())
        return Response(PackagingPartSerializer(made).data, status=status.HTTP_201_CREATED)


class PartChangeApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = PartToSaveSerializer

    @extend_schema(responses={200: PackagingPartSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Change a part; what is left out takes its usual value."""
        part = get_object_or_404(PackagingPart, code=code)
        return Response(PackagingPartSerializer(parts.save(part=part, **self.checked())).data)


class PartsReceiveApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = PartsToReceiveSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: PartsReceivedSerializer, **REFUSALS}
    )
    def post(self, request: Request) -> Response:
        """Bring parts in."""
        key = self.key()
        made = parts.receive(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(PartsReceivedSerializer(made).data, status=status.HTTP_201_CREATED)
