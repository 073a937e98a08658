"""What is measured of honey through the API: of a lot, in a vessel, of drums on a scale."""

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView
from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.fields import GramsCountField, IdField, VesselCodeField
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.lots import in_bulk
from apiary_sales.api.serializers import (
    LotSerializer,
    PostingSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.shared.models import Attachment
from inventory.shared.people import person_of
from inventory.stock.models import Measurement, Place
from inventory.stock.services import drums, lots, measurements
from inventory.stock.services.places import MEASURE_MM_MAX


class MeasurementSerializer(RowSerializer):
    """One figure as it was read, in its `unit`; `is_below` for a laboratory's "less than"."""

    unit = serializers.CharField(source="scale.unit")
    place: serializers.SlugRelatedField = serializers.SlugRelatedField(
        slug_field="code",
        read_only=True,
        allow_null=True,
        help_text="The vessel it was read in, if it was named.",
    )

    class Meta:
        model = Measurement
        fields = [
            "id",
            "place",
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


class LotMeasurementsApiView(ApiActView, ListApiView):
    """Figures of a lot in bulk: read by everybody, added by those who move honey."""

    permission_required = "inventory.move_honey"
    permission_to_read = None
    serializer_class = MeasurementToAddSerializer
    row_serializer_class = MeasurementSerializer
    filterset_class = filters.MeasurementListFilters
    ordering_fields = ordered_by("id", "measured_on")
    queryset = Measurement.objects.none()

    @extend_schema(responses=MeasurementSerializer(many=True))
    def get(self, request, code: str):
        """List the figures that stand, the oldest first."""
        return self.list(request)

    def get_queryset(self) -> QuerySet[Measurement]:
        there = in_bulk(self.kwargs["code"]).measurements.filter(removed_at=None)
        return there.select_related("place").order_by("measured_on", "id")

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: MeasurementSerializer, **REFUSALS})
    def post(self, request, code: str):
        """Add a figure; the latest moisture and colour are the lot's own from their day on."""
        lot = in_bulk(code)
        key = self.key()
        made = measurements.record(
            lot=lot, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(MeasurementSerializer(made).data, status=status.HTTP_201_CREATED)


class VesselMeasurementSerializer(serializers.Serializer):
    """What was read in a vessel: one reading of the moisture, the colour, the temperature.

    `refractometer_celsius` is the temperature of a reading that the instrument did not correct.
    """

    measured_on = serializers.DateField()
    moisture_percent = StrictDecimalField(
        max_digits=4, decimal_places=2, required=False, allow_null=True
    )
    refractive_index = StrictDecimalField(
        max_digits=6, decimal_places=5, required=False, allow_null=True
    )
    brix = StrictDecimalField(max_digits=4, decimal_places=2, required=False, allow_null=True)
    refractometer_celsius = StrictDecimalField(
        max_digits=4, decimal_places=1, required=False, allow_null=True
    )
    colour_mm = StrictDecimalField(max_digits=4, decimal_places=1, required=False, allow_null=True)
    celsius = StrictDecimalField(max_digits=4, decimal_places=1, required=False, allow_null=True)
    moisture_method = serializers.ChoiceField(Measurement.Method.choices, required=False)
    colour_method = serializers.ChoiceField(Measurement.Method.choices, required=False)
    instrument = StrictCharField(required=False, allow_blank=True, max_length=80)
    measured_by = StrictCharField(required=False, allow_blank=True, max_length=80)
    note = StrictCharField(required=False, allow_blank=True, max_length=120)


class MeasuredAgainSerializer(serializers.Serializer):
    """What was kept: the lot that was in the vessel with its figures of now, and the readings."""

    lot = LotSerializer()
    measurements = MeasurementSerializer(many=True, source="figures")
    celsius = serializers.DecimalField(
        max_digits=4, decimal_places=1, source="temperature.celsius", default=None, allow_null=True
    )


class VesselMeasurementsApiView(ApiActView):
    permission_required = "inventory.move_honey"
    serializer_class = VesselMeasurementSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: MeasuredAgainSerializer, **REFUSALS}
    )
    def post(self, request, code: str):
        """Measure the honey in a vessel again; its lot has the new figures from that day on."""
        place = get_object_or_404(Place, code=code, kind__in=Place.VESSELS)
        key = self.key()
        made = measurements.measure_again(
            place=place, **self.checked(), recorded_by=person_of(request), key=key
        )
        made.lot.refresh_from_db()
        return Response(MeasuredAgainSerializer(made).data, status=status.HTTP_201_CREATED)


class BlendNameSerializer(serializers.Serializer):
    """What a blend is called."""

    floral_source = StrictCharField(max_length=120)


class BlendNameApiView(ApiActView):
    permission_required = "inventory.move_honey"
    serializer_class = BlendNameSerializer

    @extend_schema(responses={200: LotSerializer, **REFUSALS})
    def post(self, request, code: str):
        """Call a blend by a name; sent twice, the second changes nothing."""
        made = lots.name_blend(lot=in_bulk(code), **self.checked(), named_by=person_of(request))
        return Response(LotSerializer(made).data)


class DrumWeighingSerializer(serializers.Serializer):
    """A drum on the scale; without `tare_grams` the tare on record counts."""

    drum = VesselCodeField()
    gross_grams = GramsCountField()
    tare_grams = GramsCountField(required=False, allow_null=True, min_value=0)
    weighed_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class WeighedAgainSerializer(serializers.Serializer):
    """What the scale shows more than the books, negative for less, and the posting of it."""

    difference_grams = serializers.IntegerField()
    posting = PostingSerializer(allow_null=True)


class DrumWeighingsApiView(ApiActView):
    permission_required = "inventory.move_honey"
    serializer_class = DrumWeighingSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: WeighedAgainSerializer, **REFUSALS}
    )
    def post(self, request):
        """Weigh a drum again; the difference is booked as a scale difference."""
        key = self.key()
        made = drums.weigh_again(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(WeighedAgainSerializer(made).data, status=status.HTTP_201_CREATED)


class DrumFillSerializer(serializers.Serializer):
    """A drum filled from a vessel, by one of gross weight, litres filled in, or depth in it.

    Litres and depth need the temperature of the honey.
    """

    tank = VesselCodeField()
    drum = VesselCodeField()
    gross_grams = GramsCountField(required=False, allow_null=True)
    tare_grams = GramsCountField(required=False, allow_null=True, min_value=0)
    litres = StrictDecimalField(
        max_digits=7, decimal_places=3, min_value=0, required=False, allow_null=True
    )
    depth_mm = StrictIntegerField(
        min_value=1, max_value=MEASURE_MM_MAX, required=False, allow_null=True
    )
    celsius = StrictDecimalField(max_digits=4, decimal_places=1, required=False, allow_null=True)
    filled_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class DrumFillsApiView(ApiActView):
    permission_required = "inventory.move_honey"
    serializer_class = DrumFillSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request):
        """Fill a drum from a vessel, by weight, by volume or by depth."""
        key = self.key()
        made = drums.fill(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)


class MeasurementRemoveApiView(ApiActView):
    permission_required = "inventory.move_honey"
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: MeasurementSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Take a wrong figure off a lot; it is kept as removed. A second time is refused."""
        found = get_object_or_404(Measurement.objects.select_related("lot"), pk=pk)
        made = measurements.remove(measurement=found, removed_by=person_of(request))
        return Response(MeasurementSerializer(made).data)
