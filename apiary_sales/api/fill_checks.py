"""Fill checks of a run through the API, and the control chart of a size."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api.answers import AnswerSerializer
from apiary_sales.api.bottling import RUN_BOTTLING
from apiary_sales.api.fields import IdField
from apiary_sales.api.serializers import StrictIntegerField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.bottling.models import BottlingRun, FillCheck, Size
from inventory.bottling.queries import fill_charts
from inventory.bottling.queries import fill_checks as queries
from inventory.bottling.rules.fill_checks import WEIGHTS_MAX
from inventory.bottling.services import fill_checks
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.people import person_of


class FillCheckSerializer(serializers.Serializer):
    """Net weights of some pieces; `has_passed` is null without a full sample of a recorded run.

    `lot_pieces` and `more_wanted`, the pieces that a verdict still needs, are null before the run.
    """

    id = serializers.IntegerField(source="check.pk")
    checked_at = serializers.DateTimeField(source="check.checked_at")
    scheme = serializers.CharField(source="check.scheme")
    lot_pieces = serializers.IntegerField(source="check.lot_pieces", allow_null=True)
    tare_milligrams = serializers.IntegerField(source="check.tare_milligrams")
    weights_milligrams = serializers.ListField(child=serializers.IntegerField())
    average_milligrams = serializers.IntegerField()
    has_passed = serializers.BooleanField(source="check.has_passed", allow_null=True)
    more_wanted = serializers.IntegerField(allow_null=True)
    reason = serializers.CharField()


class FillCheckToRecordSerializer(serializers.Serializer):
    """Net weights of pieces taken at random; `continues` is a check without a verdict to add to."""

    scheme = serializers.ChoiceField(FillCheck.Scheme.choices)
    weights_milligrams = serializers.ListField(
        child=StrictIntegerField(min_value=1, max_value=GRAMS_MAX),
        allow_empty=False,
        max_length=WEIGHTS_MAX,
    )
    tare_milligrams = StrictIntegerField(min_value=0, max_value=GRAMS_MAX, required=False)
    weights_are_right = serializers.BooleanField(required=False)
    checked_on = serializers.DateField(required=False, allow_null=True)
    continues = IdField(queryset=FillCheck.objects.all(), required=False, allow_null=True)


class ChartPointSerializer(AnswerSerializer):
    """One check with the limits for an average of so many pieces; null while there are none."""

    check = serializers.IntegerField(source="check.pk")
    run = serializers.CharField(source="check.run.number")
    checked_at = serializers.DateTimeField(source="check.checked_at")
    is_before_run = serializers.BooleanField(source="check.is_before_run")
    pieces = serializers.IntegerField(source="sample.pieces")
    average_milligrams = serializers.IntegerField(source="sample.average_milligrams")
    lower_limit_milligrams = serializers.IntegerField(allow_null=True)
    upper_limit_milligrams = serializers.IntegerField(allow_null=True)
    is_outside = serializers.BooleanField()


class FillChartSerializer(AnswerSerializer):
    """Averages of a size's fill checks, oldest first; checks before a run count for no limit."""

    size = serializers.CharField(source="size.code")
    labelled_milligrams = serializers.IntegerField()
    centre_milligrams = serializers.IntegerField(allow_null=True)
    sigma_milligrams = serializers.IntegerField(allow_null=True)
    is_provisional = serializers.BooleanField()
    points = ChartPointSerializer(many=True)


class RunFillChecksApiView(ApiActView):
    """Fill checks of a run: read by everybody, recorded by those who bottle."""

    permission_required = RUN_BOTTLING
    permission_to_read = None
    serializer_class = FillCheckToRecordSerializer

    @extend_schema(responses=FillCheckSerializer(many=True))
    def get(self, request, number: str):
        """List the checks of a run, the newest first; one that was added to is part of the later.

        Weights are net, in milligrams. A run has few, so that there are no pages.
        """
        return Response(FillCheckSerializer(queries.checks_of(_run(number)), many=True).data)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: FillCheckSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Keep net weights of a planned run, or judge a recorded one by a full sample.

        A check that fails puts the lot on hold.
        """
        run = _run(number)
        key = self.key()
        made = fill_checks.record(run=run, **self.checked(), checked_by=person_of(request), key=key)
        [view] = [view for view in queries.checks_of(_run(number)) if view.check == made]
        return Response(FillCheckSerializer(view).data, status=status.HTTP_201_CREATED)


class FillChartApiView(ApiActView):
    """The control chart of a size."""

    serializer_class = FillChartSerializer

    @extend_schema(responses=FillChartSerializer)
    def get(self, request, code: str):
        """Return the averages of the last checks of a size, with centre line and limits."""
        chart = fill_charts.chart_of(get_object_or_404(Size, code=code))
        return Response(FillChartSerializer(chart).data)


def _run(number: str) -> BottlingRun:
    runs = BottlingRun.objects.select_related("product__size", "lot", "packed_lot")
    return get_object_or_404(runs, number=number)
