"""Bottling days through the API: all sizes of a vessel and a day; and estimated honey settled."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView
from apiary_sales.api.bottling import RUN_BOTTLING, NothingSerializer, RunSerializer
from apiary_sales.api.fields import (
    GramsCountField,
    MinutesCountField,
    PiecesCountField,
    StoreCodeField,
    VesselCodeField,
    rows_of,
)
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import (
    CodeField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.bottling.models import (
    BottlingDay,
    BottlingDayRow,
    EstimateSettlement,
    Product,
    SettledRun,
)
from inventory.bottling.services import bottling_days, estimates
from inventory.bottling.services.bottling_days import ROWS_MAX, RowFilled
from inventory.shared.people import person_of
from inventory.stock import lot_codes

# Deeper than any vessel: 50 m.
DEPTH_MM_MAX = 50_000
VERSION_MAX = 2**31 - 1


class BottlingDayRowSerializer(RowSerializer):
    product = serializers.CharField(source="product.code")
    run = RunSerializer(allow_null=True)

    class Meta:
        model = BottlingDayRow
        fields = [
            "id",
            "product",
            "pieces_filled",
            "pieces_broken",
            "labour_minutes",
            "lot_code",
            "run",
        ]


class BottlingDaySerializer(RowSerializer):
    """A sheet; it moved stock where its status is "recorded"."""

    source = serializers.CharField(source="source.code")  # type: ignore[assignment]
    target = serializers.CharField(source="target.code", default=None)
    rows = BottlingDayRowSerializer(many=True)

    class Meta:
        model = BottlingDay
        fields = [
            "id",
            "status",
            "source",
            "bottled_on",
            "target",
            "celsius",
            "before_mm",
            "after_mm",
            "before_grams",
            "after_grams",
            "skimmed_grams",
            "note",
            "version",
            "rows",
        ]


class RowFilledSerializer(serializers.Serializer):
    """One product of the day; without a code it gets the next one by the house's pattern."""

    product = CodeField(queryset=Product.objects.of_honey())
    pieces_filled = PiecesCountField(required=False, allow_null=True)
    pieces_broken = PiecesCountField(min_value=0, required=False)
    labour_minutes = MinutesCountField()
    lot_code = StrictCharField(
        required=False, allow_blank=True, max_length=lot_codes.CODE_LENGTH_MAX
    )
    lot_code_is_right = serializers.BooleanField(required=False)
    variety_is_right = serializers.BooleanField(required=False)
    figures_are_right = serializers.BooleanField(required=False)

    def validate(self, attrs: dict[str, Any]) -> Any:
        return RowFilled(**attrs)


class DepthField(StrictIntegerField):
    """A depth in whole millimetres; null where nobody dipped."""

    def __init__(self, **kwargs: Any) -> None:
        limits = {"min_value": 0, "max_value": DEPTH_MM_MAX}
        super().__init__(**{"required": False, "allow_null": True, **limits, **kwargs})


class SheetToSaveSerializer(serializers.Serializer):
    """The sheet of a vessel and a day; two dips or two weights say what was drawn."""

    source = VesselCodeField()  # type: ignore[assignment]
    bottled_on = serializers.DateField()
    rows = rows_of(RowFilledSerializer, max_length=ROWS_MAX)
    target = StoreCodeField(required=False, allow_null=True)
    celsius = StrictDecimalField(max_digits=4, decimal_places=1, required=False, allow_null=True)
    before_mm = DepthField()
    after_mm = DepthField()
    before_grams = GramsCountField(min_value=0, required=False, allow_null=True)
    after_grams = GramsCountField(min_value=0, required=False, allow_null=True)
    skimmed_grams = GramsCountField(min_value=0, required=False)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)
    version = StrictIntegerField(
        min_value=0, max_value=VERSION_MAX, required=False, allow_null=True
    )


class DayToRecordSerializer(SheetToSaveSerializer):
    """The whole day; without a dip or a weight after, what was drawn is estimated."""

    target = StoreCodeField()
    moisture_is_right = serializers.BooleanField(
        required=False, help_text="Confirms honey above the house's own limit of moisture."
    )


class SettlementToMakeSerializer(serializers.Serializer):
    """What was in a vessel at the end of a day: dipped, or the net weight of its honey."""

    source = VesselCodeField()  # type: ignore[assignment]
    measured_on = serializers.DateField()
    depth_mm = DepthField()
    celsius = StrictDecimalField(max_digits=4, decimal_places=1, required=False, allow_null=True)
    honey_grams = GramsCountField(min_value=0, required=False, allow_null=True)
    figures_are_right = serializers.BooleanField(required=False)


class SettledRunSerializer(RowSerializer):
    run = serializers.CharField(source="run.number")

    class Meta:
        model = SettledRun
        fields = ["id", "run", "estimated_grams", "drawn_grams"]


class SettlementSerializer(RowSerializer):
    """A settlement; `book_grams` should have been left, `measured_grams` were."""

    source = serializers.CharField(source="source.code")  # type: ignore[assignment]
    settled_runs = SettledRunSerializer(many=True)

    class Meta:
        model = EstimateSettlement
        fields = ["id", "source", "measured_on", "measured_grams", "book_grams", "settled_runs"]


def _days():
    return BottlingDay.objects.select_related("source", "target").prefetch_related(
        "rows__product", "rows__run__product", "rows__run__source", "rows__run__target"
    )


class BottlingDaysApiView(ApiActView, ListApiView):
    """Bottling days: listed for everybody, recorded by those who bottle."""

    filterset_class = filters.BottlingDayListFilters
    ordering_fields = ordered_by("id", "bottled_on")
    permission_required = RUN_BOTTLING
    permission_to_read = None
    serializer_class = DayToRecordSerializer
    row_serializer_class = BottlingDaySerializer
    queryset = _days()

    @extend_schema(operation_id="bottling_days_list", responses=BottlingDaySerializer(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the sheets, the newest day first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        request=DayToRecordSerializer,
        responses={201: BottlingDaySerializer, **REFUSALS},
    )
    def post(self, request):
        """Record all that a vessel filled on a day: a run for each row, all of them or none."""
        key = self.key()
        made = bottling_days.record(**self.checked(), recorded_by=person_of(request), key=key)
        day = _days().get(pk=made.pk)
        return Response(BottlingDaySerializer(day).data, status=status.HTTP_201_CREATED)


class BottlingDaySheetsApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = SheetToSaveSerializer

    @extend_schema(responses={200: BottlingDaySerializer, **REFUSALS})
    def post(self, request):
        """Keep the sheet of a vessel and a day; no stock moves. Saved again, it is replaced."""
        made = bottling_days.save(**self.checked(), saved_by=person_of(request))
        return Response(BottlingDaySerializer(_days().get(pk=made.pk)).data)


class EstimatesSettleApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = SettlementToMakeSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: SettlementSerializer, **REFUSALS})
    def post(self, request):
        """Settle the estimated runs of a vessel, in proportion, by what was left in it."""
        key = self.key()
        made = estimates.settle(**self.checked(), settled_by=person_of(request), key=key)
        return Response(SettlementSerializer(made).data, status=status.HTTP_201_CREATED)


class BottlingDayDropApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={204: None, **REFUSALS})
    def post(self, request, pk: int):
        """Throw away a sheet that was not recorded."""
        bottling_days.drop(day=get_object_or_404(BottlingDay, pk=pk))
        return Response(status=status.HTTP_204_NO_CONTENT)
