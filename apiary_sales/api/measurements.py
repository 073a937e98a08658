"""Measurements of a lot of honey through the API: listed and added."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.response import Response

from apiary_sales.api.fields import IdField
from apiary_sales.api.lots import in_bulk
from apiary_sales.api.serializers import StrictCharField, StrictDecimalField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.shared.models import Attachment
from inventory.shared.people import person_of
from inventory.stock.models import Measurement
from inventory.stock.services import measurements


class MeasurementSerializer(serializers.ModelSerializer):
    """One figure as it was read, in its `unit`; `is_below` for a laboratory's "less than"."""

    unit = serializers.CharField(source="scale.unit")

    class Meta:
        model = Measurement
        fields = [
            "id",
            "what",
            "value",
            "unit",
            "is_below",
            "method",
            "instrument",
            "measured_on",
            "measured_by",
            "is_laboratory",
            "laboratory",
            "report",
            "note",
        ]


class MeasurementToAddSerializer(serializers.Serializer):
    """A figure of a lot; a laboratory's needs its name and its report, attached to the lot."""

    what = serializers.ChoiceField(Measurement.What.choices)
    value = StrictDecimalField(
        max_digits=7,
        decimal_places=3,
        help_text=(
            "Moisture in percent, colour in mm Pfund, HMF in mg/kg, diastase in Schade units, "
            "conductivity in mS/cm."
        ),
    )
    measured_on = serializers.DateField()
    method = serializers.ChoiceField(Measurement.Method.choices, required=False)
    instrument = StrictCharField(required=False, allow_blank=True, max_length=80)
    measured_by = StrictCharField(required=False, allow_blank=True, max_length=80)
    is_laboratory = serializers.BooleanField(required=False)
    laboratory = StrictCharField(required=False, allow_blank=True, max_length=120)
    report = IdField(
        queryset=Attachment.objects.filter(removed_at=None), required=False, allow_null=True
    )
    note = StrictCharField(required=False, allow_blank=True, max_length=200)
    is_below = serializers.BooleanField(required=False)


class LotMeasurementsApiView(ApiActView):
    """Figures of a lot in bulk: read by everybody, added by those who move honey."""

    permission_required = "inventory.move_honey"
    permission_to_read = None
    serializer_class = MeasurementToAddSerializer

    @extend_schema(responses=MeasurementSerializer(many=True))
    def get(self, request, code: str):
        """List the figures that stand, the oldest first."""
        there = in_bulk(code).measurements.filter(removed_at=None)
        found = there.order_by("measured_on", "pk")
        return Response(MeasurementSerializer(found, many=True).data)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: MeasurementSerializer, **REFUSALS})
    def post(self, request, code: str):
        """Add a figure; the lot keeps the moisture and colour that it came with."""
        lot = in_bulk(code)
        key = self.key()
        made = measurements.record(
            lot=lot, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(MeasurementSerializer(made).data, status=status.HTTP_201_CREATED)
