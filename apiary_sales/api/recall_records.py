"""Recalls through the API: started, finished, and the records that are kept."""

from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView, RetrieveApiView
from apiary_sales.api.fields import LotsField
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.recall import RecallKeptSerializer
from apiary_sales.api.serializers import StrictCharField
from apiary_sales.api.views import (
    IDEMPOTENCY_KEY,
    REFUSALS,
    ApiActView,
    BuyersPermission,
)
from apiary_sales.orders.models import Recall
from apiary_sales.orders.queries import recall as answers
from apiary_sales.orders.queries import recalls as queries
from apiary_sales.orders.services import recalls
from inventory.shared.people import person_of

# A recall names buyers.
SEES_BUYERS = "orders.fulfil_orders"


class RecallSerializer(RowSerializer):
    """A recall or the exercise of one; it runs until `finished_at`."""

    started_by = serializers.CharField(source="started_by.display_name")
    finished_by = serializers.CharField(source="finished_by.display_name", default=None)
    seconds_taken = serializers.IntegerField(allow_null=True)

    class Meta:
        model = Recall
        fields = [
            "id",
            "kind",
            "code",
            "reason",
            "started_at",
            "started_by",
            "finished_at",
            "finished_by",
            "seconds_taken",
            "notes",
            "percent_accounted",
            "percent_found",
        ]


class RecallRecordSerializer(RecallSerializer):
    """A recall with what the books answered at its start, and at its finish."""

    answer = serializers.SerializerMethodField()
    answer_at_finish = serializers.SerializerMethodField()

    class Meta(RecallSerializer.Meta):
        fields = [*RecallSerializer.Meta.fields, "answer", "answer_at_finish"]

    @extend_schema_field(RecallKeptSerializer)
    def get_answer(self, record: Recall) -> Any:
        return RecallKeptSerializer(answers.from_json(record.answer)).data

    @extend_schema_field(RecallKeptSerializer(allow_null=True))
    def get_answer_at_finish(self, record: Recall) -> Any:
        if record.answer_at_finish is None:
            return None
        return RecallKeptSerializer(answers.from_json(record.answer_at_finish)).data


class RecallToStartSerializer(serializers.Serializer):
    """Lots by their keys; `code` is what was asked for, their codes where it is left out."""

    kind = serializers.ChoiceField(Recall.Kind.choices)
    lots = LotsField()
    reason = StrictCharField(max_length=300)
    code = StrictCharField(required=False, allow_blank=True, max_length=60)


class RecallToFinishSerializer(serializers.Serializer):
    """What was checked; `lots_are_settled` confirms goods of a real recall that are not held."""

    notes = StrictCharField(max_length=recalls.NOTES_MAX)
    lots_are_settled = serializers.BooleanField(required=False)


class RecallRecordsApiView(ApiActView, ListApiView):
    permission_classes = [BuyersPermission]
    filterset_class = filters.RecallListFilters
    ordering_fields = ordered_by("id", "started_at")
    permission_required = SEES_BUYERS
    serializer_class = RecallToStartSerializer
    row_serializer_class = RecallSerializer
    queryset = queries.records()

    @extend_schema(operation_id="recall_records_list", responses=RecallSerializer(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the recalls, the latest first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        request=RecallToStartSerializer,
        responses={201: RecallRecordSerializer, **REFUSALS},
    )
    def post(self, request):
        """Start the clock of a recall, or of an exercise, and keep what the books answer."""
        key = self.key()
        data = self.checked()
        lots = data["lots"]
        code = data.pop("code", "").strip()
        answer = answers.answer([lot.pk for lot in lots], with_sales=True)
        made = recalls.start(
            **data,
            code=code or ", ".join(dict.fromkeys(lot.code for lot in lots))[:60],
            answer=answer.as_json(),
            percent_accounted=answer.percent_accounted,
            percent_found=answer.percent_found,
            started_by=person_of(request),
            key=key,
        )
        return Response(RecallRecordSerializer(made).data, status=status.HTTP_201_CREATED)


class RecallRecordApiView(RetrieveApiView):
    """One recall with what the books answered."""

    permission_classes = [BuyersPermission]
    serializer_class = RecallRecordSerializer
    queryset = Recall.objects.select_related("started_by", "finished_by")


class RecallFinishApiView(ApiActView):
    permission_required = SEES_BUYERS
    serializer_class = RecallToFinishSerializer

    @extend_schema(responses={200: RecallRecordSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Stop the clock, and keep what was checked. Sent twice, the second is refused."""
        record = get_object_or_404(queries.records(), pk=pk)
        data = self.checked()
        roots = list(record.lots.values_list("pk", flat=True))
        made = recalls.finish(
            recall=record,
            **data,
            answer=answers.answer(roots, with_sales=True).as_json(),
            finished_by=person_of(request),
        )
        return Response(RecallRecordSerializer(made).data)
