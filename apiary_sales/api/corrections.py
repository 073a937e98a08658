"""What was recorded wrong is put right through the API: only what is sent is changed."""

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bottling import MEASURED_BY, RUN_BOTTLING, RunSerializer
from apiary_sales.api.fields import (
    GramsCountField,
    MinutesCountField,
    PiecesCountField,
    VesselCodeField,
)
from apiary_sales.api.serializers import (
    CodeField,
    LotSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.bottling.models import BottlingRun, GoodsReceipt, PackagingPart, PartReceipt
from inventory.bottling.services import delivery_corrections, receipt_corrections, run_corrections
from inventory.bottling.services.parts import COST_CENTS_MAX
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.people import person_of, sees_costs
from inventory.stock.models import Lot

REASON_LENGTH_MAX = 200


class CostCentsField(StrictIntegerField):
    """What all of something cost, in cents."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 0, "max_value": COST_CENTS_MAX, **kwargs})


class UsedPartSerializer(serializers.Serializer):
    """How many of a part a run really used."""

    part = CodeField(queryset=PackagingPart.objects.all())
    pieces = PiecesCountField(min_value=0)


class RunToCorrectSerializer(serializers.Serializer):
    """The figures of a recorded run that were wrong; the parts follow the pieces."""

    reason = StrictCharField(max_length=REASON_LENGTH_MAX)
    pieces_filled = PiecesCountField(required=False)
    pieces_broken = PiecesCountField(min_value=0, required=False)
    drawn_grams = GramsCountField(required=False)
    drawn_by = serializers.ChoiceField(MEASURED_BY, required=False)
    loss_grams = GramsCountField(min_value=0, required=False)
    labour_minutes = MinutesCountField(required=False, allow_null=True)
    bottled_on = serializers.DateField(required=False)
    parts = UsedPartSerializer(many=True, required=False)
    seed_grams = GramsCountField(required=False)
    comb_quantity = StrictIntegerField(min_value=1, max_value=GRAMS_MAX, required=False)
    figures_are_right = serializers.BooleanField(required=False)

    def validate_parts(self, parts: list[dict[str, Any]]) -> dict[PackagingPart, int]:
        return {row["part"]: row["pieces"] for row in parts}


class NetSerializer(serializers.Serializer):
    """How much honey came into a vessel."""

    vessel = VesselCodeField()
    grams = GramsCountField()


class HoneyReceiptToCorrectSerializer(serializers.Serializer):
    """What was wrong of honey that came in; its weight as `grams`, or by vessel."""

    reason = StrictCharField(max_length=REASON_LENGTH_MAX)
    grams = GramsCountField(required=False)
    grams_by_vessel = NetSerializer(many=True, required=False)
    came_in_on = serializers.DateField(required=False)
    moisture_percent = StrictDecimalField(max_digits=5, decimal_places=2, required=False)
    colour_mm = StrictDecimalField(max_digits=5, decimal_places=1, required=False)
    floral_source = StrictCharField(max_length=120, required=False)
    yard = StrictCharField(max_length=120, required=False, allow_blank=True)
    season = StrictIntegerField(min_value=1, max_value=9999, required=False)
    cost_cents = CostCentsField(required=False)

    def validate_grams_by_vessel(self, nets: list[dict[str, Any]]) -> dict[Any, int]:
        return {row["vessel"]: row["grams"] for row in nets}


class PartReceiptToCorrectSerializer(serializers.Serializer):
    """What was wrong of parts that came in."""

    reason = StrictCharField(max_length=REASON_LENGTH_MAX)
    pieces = PiecesCountField(required=False)
    cost_cents = CostCentsField(required=False)
    supplier = StrictCharField(max_length=120, required=False, allow_blank=True)
    received_on = serializers.DateField(required=False)


class GoodsReceiptToCorrectSerializer(serializers.Serializer):
    """What was wrong of goods that came in; `quantity` is pieces, or grams of goods by weight."""

    reason = StrictCharField(max_length=REASON_LENGTH_MAX)
    quantity = StrictIntegerField(min_value=1, max_value=GRAMS_MAX, required=False)
    cost_cents = CostCentsField(required=False)
    supplier = StrictCharField(max_length=120, required=False, allow_blank=True)
    received_on = serializers.DateField(required=False)


class PartReceiptSerializer(RowSerializer):
    """Parts that came in."""

    part = serializers.CharField(source="part.code")
    place = serializers.CharField(source="place.code")
    supplier = serializers.CharField(source="supplier.name", default="")

    class Meta:
        model = PartReceipt
        fields = ["id", "part", "place", "pieces", "cost_cents", "supplier", "received_on"]


class CorrectedGoodsSerializer(RowSerializer):
    """Goods that came in, as they are since the correction."""

    product = serializers.CharField(source="product.code")
    lot = serializers.CharField(source="lot.code")
    place = serializers.CharField(source="place.code")
    supplier = serializers.CharField(source="supplier.name", default="")

    class Meta:
        model = GoodsReceipt
        fields = [
            "id",
            "product",
            "lot",
            "place",
            "quantity",
            "cost_cents",
            "supplier",
            "received_on",
        ]


class RunCorrectApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = RunToCorrectSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: RunSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Put the figures of a recorded run right; only the difference is posted."""
        run = get_object_or_404(BottlingRun, number=number)
        key = self.key()
        made = run_corrections.correct(
            run=run, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(RunSerializer(made).data)


class HoneyReceiptCorrectApiView(ApiActView):
    permission_required = "inventory.move_honey"
    serializer_class = HoneyReceiptToCorrectSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: LotSerializer, **REFUSALS})
    def post(self, request, code: str):
        """Put right what was said of honey that came in; blends and jars of it follow."""
        lot = get_object_or_404(Lot.objects.bearing(code, Lot.BULK))
        key, told = self.key(), self.checked()
        if "cost_cents" in told and not sees_costs(request):
            refusal = _("You are not allowed to see or change what it cost.")
            raise serializers.ValidationError({"cost_cents": [refusal]})
        made = receipt_corrections.correct(lot=lot, **told, recorded_by=person_of(request), key=key)
        return Response(LotSerializer(made).data)


class PartReceiptCorrectApiView(ApiActView):
    permission_required = "inventory.manage_parts"
    serializer_class = PartReceiptToCorrectSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: PartReceiptSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Put right what was said of parts that came in; their average cost follows."""
        receipt = get_object_or_404(PartReceipt, pk=pk)
        key = self.key()
        made = delivery_corrections.correct_parts(
            receipt=receipt, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(PartReceiptSerializer(made).data)


class GoodsReceiptCorrectApiView(ApiActView):
    permission_required = "inventory.manage_goods"
    serializer_class = GoodsReceiptToCorrectSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={200: CorrectedGoodsSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Put right what was said of goods that came in; the cost of their lot follows."""
        receipt = get_object_or_404(GoodsReceipt, pk=pk)
        key = self.key()
        made = delivery_corrections.correct_goods(
            receipt=receipt, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(CorrectedGoodsSerializer(made).data)
