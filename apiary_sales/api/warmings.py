"""The warming log through the API: read, added to, taken back, and asked for one lot."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import AnswerSerializer
from apiary_sales.api.bases import ApiView, ListApiView
from apiary_sales.api.fields import VesselCodeField
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.lots import OF_PRODUCT, lot_of
from apiary_sales.api.measurements import MeasurementSerializer
from apiary_sales.api.serializers import StrictCharField, StrictDecimalField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from inventory.shared.people import person_of
from inventory.stock.models import Warming
from inventory.stock.queries import warmings as queries
from inventory.stock.services import warmings

MOVE_HONEY = "inventory.move_honey"


class LotFigureSerializer(MeasurementSerializer):
    """HMF or diastase of a lot, by a laboratory."""

    lot = serializers.CharField(source="lot.code")

    class Meta(MeasurementSerializer.Meta):
        fields = ["lot", *MeasurementSerializer.Meta.fields]


class WarmingSerializer(AnswerSerializer):
    """One warming, the lots that were in the vessel, and what laboratories measured of them."""

    id = serializers.IntegerField(source="warming.pk")
    place = serializers.CharField(source="warming.place.code")
    started_on = serializers.DateField(source="warming.started_on")
    ended_on = serializers.DateField(source="warming.ended_on")
    hours = serializers.DecimalField(
        source="warming.hours", max_digits=5, decimal_places=1, allow_null=True
    )
    highest_celsius = serializers.DecimalField(
        source="warming.highest_celsius", max_digits=4, decimal_places=1, allow_null=True
    )
    limit_celsius = serializers.DecimalField(
        source="warming.limit_celsius", max_digits=4, decimal_places=1
    )
    is_above_limit = serializers.BooleanField(source="warming.is_above_limit")
    warmed_by = serializers.CharField(source="warming.warmed_by")
    note = serializers.CharField(source="warming.note")
    lots = serializers.SerializerMethodField()
    figures = LotFigureSerializer(many=True)
    removed_at = serializers.DateTimeField(source="warming.removed_at", allow_null=True)
    removed_by = serializers.CharField(source="warming.removed_by.display_name", default=None)

    def get_lots(self, row: queries.WarmingRow) -> list[str]:
        """The codes of the lots of bulk honey that were warmed."""
        return [lot.code for lot in row.lots]


class WarmingToRecordSerializer(serializers.Serializer):
    """What was warmed; hours and temperature are null where nobody noted them.

    A temperature above the house's limit is refused until `above_limit_confirmed` is true.
    """

    place = VesselCodeField()
    started_on = serializers.DateField()
    ended_on = serializers.DateField()
    hours = StrictDecimalField(max_digits=5, decimal_places=1, required=False, allow_null=True)
    highest_celsius = StrictDecimalField(
        max_digits=4, decimal_places=1, required=False, allow_null=True
    )
    above_limit_confirmed = serializers.BooleanField(required=False)
    warmed_by = StrictCharField(required=False, allow_blank=True, max_length=80)
    note = StrictCharField(required=False, allow_blank=True, max_length=200)


class WarmingsApiView(ApiActView, ListApiView):
    permission_required = MOVE_HONEY
    serializer_class = WarmingToRecordSerializer
    row_serializer_class = WarmingSerializer
    filterset_class = filters.WarmingListFilters
    ordering_fields = ordered_by("id", "started_on", "ended_on")
    queryset = Warming.objects.select_related("place", "recorded_by", "removed_by").order_by(
        "-started_on", "-id"
    )

    @extend_schema(responses=WarmingSerializer(many=True))
    def get(self, request: Request) -> Response:
        """List the warmings, the latest first; removed ones too."""
        return self.list(request)

    def rows(self, page: list[Warming]) -> list[queries.WarmingRow]:
        return queries.rows(page)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: WarmingSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Record a warming; its lots are read from the books."""
        key = self.key()
        made = warmings.record(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(_told(made), status=status.HTTP_201_CREATED)


class WarmingRemoveApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = serializers.Serializer

    @extend_schema(request=None, responses={200: WarmingSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Take a wrong entry back; it is kept as removed. Sent twice, the second is refused."""
        warming = get_object_or_404(Warming.objects.all(), pk=pk)
        return Response(_told(warmings.remove(warming=warming, removed_by=person_of(request))))


class LotWarmingsApiView(ApiView):
    """What a lot, in bulk or packed, and the lots it was made of went through."""

    permission_classes = [ViewPermission]

    @extend_schema(parameters=[OF_PRODUCT], responses=WarmingSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """List the warmings that reached this lot, the earliest first.

        They are worked out from the whole family of the lot, in one answer.
        """
        warmth = queries.of_lot(lot_of(request, code))
        return Response(WarmingSerializer(warmth.rows, many=True).data)


def _told(warming: Warming) -> dict:
    return WarmingSerializer(queries.rows([warming])[0]).data
