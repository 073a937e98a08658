"""Bottling runs through the API: planned, recorded, cancelled, listed; and creamed honey ready."""

from typing import Any

from django.db.models import prefetch_related_objects
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView, RetrieveApiView
from apiary_sales.api.changed import ChangedAtField, note
from apiary_sales.api.fields import (
    GramsCountField,
    IdField,
    MinutesCountField,
    PiecesCountField,
    StoreCodeField,
    VesselCodeField,
)
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.lots import pieces_of
from apiary_sales.api.serializers import (
    CodeField,
    LotSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.bottling.models import BottlingRun, Product, RunDip
from inventory.bottling.queries import additions
from inventory.bottling.services import runs, setting
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.people import person_of
from inventory.stock import lot_codes
from inventory.stock.models import Lot

RUN_BOTTLING = "inventory.run_bottling"
# Longer than honey ever sets.
DAYS_MAX = 366
# Deeper than any tank of a honey house; the vessel's own depth is checked beside it.
DEPTH_MM_MAX = 100_000


# How the honey of a run can be said to be weighed; that it is estimated, nobody says.
MEASURED_BY = [
    choice for choice in BottlingRun.DrawnBy.choices if choice[0] != BottlingRun.DrawnBy.ESTIMATED
]


class RunDipSerializer(RowSerializer):
    """A dip read for a run, beside what the books said then; errors are bounds in grams."""

    depth_mm = serializers.IntegerField(source="reading.depth_mm")
    grams = serializers.IntegerField(source="reading.grams")
    uncertainty_grams = serializers.IntegerField(source="reading.uncertainty_grams")
    stick_grams = serializers.IntegerField(source="reading.stick_grams", allow_null=True)
    book_grams = serializers.IntegerField(source="reading.book_grams")

    class Meta:
        model = RunDip
        fields = [
            "id",
            "moment",
            "depth_mm",
            "grams",
            "uncertainty_grams",
            "stick_grams",
            "book_grams",
        ]


class RunSerializer(RowSerializer):
    """A run; `lot_code` is stamped on its pieces from the start, `lot` is the honey's."""

    changed_at = ChangedAtField()
    product = serializers.CharField(source="product.code")
    source = serializers.CharField(source="source.code")  # type: ignore[assignment]
    target = serializers.CharField(source="target.code")
    lot = serializers.CharField(source="lot.code", default=None)
    dips = RunDipSerializer(many=True, read_only=True)

    class Meta:
        model = BottlingRun
        fields = [
            "id",
            "number",
            "status",
            "product",
            "lot_code",
            "lot",
            "source",
            "target",
            "planned_for",
            "pieces_planned",
            "pieces_filled",
            "pieces_broken",
            "drawn_grams",
            "drawn_by",
            "added_grams",
            "loss_grams",
            "labour_minutes",
            "celsius",
            "recorded_at",
            "dips",
            "note",
            "changed_at",
        ]


def note_runs(runs: list[BottlingRun]) -> None:
    """Read at once what the answer has of each run within another answer."""
    prefetch_related_objects(runs, "dips")
    note(runs)


class CombAtSerializer(serializers.Serializer):
    """Comb of a lot, named by its key, at a place."""

    lot = IdField(queryset=Lot.objects.all())
    place = StoreCodeField()

    def validate(self, attrs: dict[str, Any]) -> Any:
        found = additions.comb_in_stock().filter(lot=attrs["lot"], place=attrs["place"]).first()
        if found is None:
            raise serializers.ValidationError(
                _("There is no comb of lot %(lot)s at %(place)s.")
                % {"lot": attrs["lot"].code, "place": attrs["place"].name}
            )
        return found


class RunToPlanSerializer(serializers.Serializer):
    """What to fill, from where; the fields of seed and comb are for creamed and chunk honey."""

    product = CodeField(queryset=Product.objects.of_honey())
    source = VesselCodeField()  # type: ignore[assignment]
    target = StoreCodeField()
    pieces = PiecesCountField()
    planned_for = serializers.DateField()
    celsius = StrictDecimalField(max_digits=4, decimal_places=1, required=False, allow_null=True)
    lot_code = StrictCharField(
        required=False, allow_blank=True, max_length=lot_codes.CODE_LENGTH_MAX
    )
    lot_code_is_right = serializers.BooleanField(required=False)
    variety_is_right = serializers.BooleanField(required=False)
    moisture_is_right = serializers.BooleanField(
        required=False, help_text="Confirms honey above the house's own limit of moisture."
    )
    seed_source = VesselCodeField(required=False, allow_null=True)
    seed_percent = StrictDecimalField(
        max_digits=4, decimal_places=1, required=False, allow_null=True
    )
    share_is_right = serializers.BooleanField(required=False)
    setting_place = StrictCharField(required=False, allow_blank=True, max_length=80)
    setting_days = StrictIntegerField(
        min_value=0, max_value=DAYS_MAX, required=False, allow_null=True
    )
    comb = CombAtSerializer(required=False, allow_null=True)
    comb_grams_each = GramsCountField(required=False, allow_null=True)
    without_labels = serializers.BooleanField(required=False)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class RunToRecordSerializer(serializers.Serializer):
    """What a run did; `comb_quantity` is in what the comb is counted in: pieces, or grams.

    Without `drawn_grams` the honey is estimated from the pieces, until a dip settles it.
    `before_mm` and `after_mm` are dips of the vessel, kept beside the books.
    """

    pieces_filled = PiecesCountField()
    pieces_broken = PiecesCountField(min_value=0, required=False, default=0)
    drawn_grams = GramsCountField(required=False, allow_null=True, default=None)
    drawn_by = serializers.ChoiceField(
        MEASURED_BY,
        required=False,
        default=BottlingRun.DrawnBy.SCALE,
    )
    loss_grams = GramsCountField(min_value=0, required=False, default=0)
    labour_minutes = MinutesCountField(default=None)
    celsius = StrictDecimalField(
        max_digits=4, decimal_places=1, required=False, allow_null=True, default=None
    )
    target = StoreCodeField(required=False, allow_null=True)
    bottled_on = serializers.DateField(required=False, allow_null=True)
    figures_are_right = serializers.BooleanField(required=False)
    seed_grams = GramsCountField(required=False, allow_null=True)
    comb_quantity = StrictIntegerField(
        min_value=1, max_value=GRAMS_MAX, required=False, allow_null=True
    )
    without_labels = serializers.BooleanField(required=False)
    before_mm = StrictIntegerField(
        min_value=0, max_value=DEPTH_MM_MAX, required=False, allow_null=True
    )
    after_mm = StrictIntegerField(
        min_value=0, max_value=DEPTH_MM_MAX, required=False, allow_null=True
    )
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class RunToCancelSerializer(serializers.Serializer):
    reason = StrictCharField(required=False, allow_blank=True, max_length=300)


class NothingSerializer(serializers.Serializer):
    """An act that is told nothing but where it happens."""


def _runs():
    runs = BottlingRun.objects.select_related("product", "source", "target", "lot")
    return runs.prefetch_related("dips__reading")


class RunsApiView(ApiActView, ListApiView):
    """Runs: listed for everybody, planned by those who bottle."""

    filterset_class = filters.RunListFilters
    ordering_fields = ordered_by("id", "number", "planned_for", "recorded_at", "changed_at")
    permission_required = RUN_BOTTLING
    permission_to_read = None
    serializer_class = RunToPlanSerializer
    row_serializer_class = RunSerializer
    queryset = _runs()

    @extend_schema(operation_id="runs_list", responses=RunSerializer(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the runs, the newest first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        request=RunToPlanSerializer,
        responses={201: RunSerializer, **REFUSALS},
    )
    def post(self, request):
        """Plan a run; no honey leaves the books yet. Stamp its `lot_code` on the pieces."""
        key = self.key()
        run = runs.plan(**self.checked(), planned_by=person_of(request), key=key)
        return Response(RunSerializer(run).data, status=status.HTTP_201_CREATED)


class RunApiView(RetrieveApiView):
    """One run."""

    permission_classes = ApiActView.permission_classes
    serializer_class = RunSerializer
    queryset = _runs()
    lookup_field = "number"


class RunRecordApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = RunToRecordSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: RunSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Record what a planned run did: honey and parts out, filled pieces in."""
        run = get_object_or_404(_runs(), number=number)
        key = self.key()
        made = runs.record(run=run, **self.checked(), recorded_by=person_of(request), key=key)
        return Response(RunSerializer(made).data)


class RunCancelApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = RunToCancelSerializer

    @extend_schema(responses={200: RunSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Drop a planned run. Sent twice, the second is refused, because it is dropped."""
        run = get_object_or_404(_runs(), number=number)
        made = runs.cancel(run=run, **self.checked(), cancelled_by=person_of(request))
        return Response(RunSerializer(made).data)


class ReadyNowApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: LotSerializer, **REFUSALS})
    def post(self, request, code: str, product: str):
        """Let creamed honey be sold from today on; refused once it is ready."""
        made = setting.ready_now(lot=pieces_of(code, product), said_by=person_of(request))
        return Response(LotSerializer(made).data)
