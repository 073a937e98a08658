"""The cleaning schedule and its log through the API."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView
from apiary_sales.api.fields import IdField, VesselCodeField
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import StrictCharField, StrictIntegerField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.shared.people import person_of
from inventory.stock.cleaning_schedule import State
from inventory.stock.models import Cleaning, CleaningTask
from inventory.stock.queries import cleaning as queries
from inventory.stock.services import cleaning

RECORD_CLEANING = "inventory.record_cleaning"
MANAGE_PLACES = "inventory.manage_places"


class CleaningTaskSerializer(RowSerializer):
    """Something that is cleaned, with its schedule."""

    place = serializers.CharField(source="place.code", default=None)

    class Meta:
        model = CleaningTask
        fields = [
            "id",
            "name",
            "kind",
            "place",
            "schedule",
            "every_days",
            "used_for",
            "cleaned_with",
            "is_active",
        ]


class CleaningStandingSerializer(serializers.Serializer):
    """How something that is cleaned is today: `day` is since when it is due, or the next day."""

    id = serializers.IntegerField(source="task.pk")
    task = CleaningTaskSerializer()
    state = serializers.ChoiceField([state.value for state in State], source="standing.state")
    day = serializers.DateField(source="standing.day", allow_null=True)
    last_cleaned_on = serializers.DateField(source="last.cleaned_on", default=None)


class CleaningTaskToSaveSerializer(serializers.Serializer):
    """What is cleaned, and how often.

    `every_days` goes with the schedule `days`, `place` with the kind `vessel`, and `used_for` with
    what is no vessel and is cleaned before or after use.
    """

    name = StrictCharField(max_length=80)
    kind = serializers.ChoiceField(CleaningTask.Kind.choices)
    place = VesselCodeField(required=False, allow_null=True)
    schedule = serializers.ChoiceField(CleaningTask.Schedule.choices)
    every_days = StrictIntegerField(
        min_value=1, max_value=cleaning.EVERY_DAYS_MAX, required=False, allow_null=True
    )
    used_for = serializers.ChoiceField(CleaningTask.Use.choices, required=False, allow_blank=True)
    cleaned_with = StrictCharField(required=False, allow_blank=True, max_length=120)
    is_active = serializers.BooleanField(required=False)


class CleaningSerializer(RowSerializer):
    """One time that something was cleaned."""

    task = serializers.CharField(source="task.name")
    removed_by = serializers.CharField(source="removed_by.display_name", default=None)

    class Meta:
        model = Cleaning
        fields = [
            "id",
            "task",
            "cleaned_on",
            "cleaned_by",
            "cleaned_with",
            "note",
            "removed_at",
            "removed_by",
        ]


class CleaningToRecordSerializer(serializers.Serializer):
    """What was cleaned, when, by whom and with what."""

    task = IdField(queryset=CleaningTask.objects.all())
    cleaned_on = serializers.DateField()
    cleaned_by = StrictCharField(max_length=80)
    cleaned_with = StrictCharField(max_length=120)
    note = StrictCharField(required=False, allow_blank=True, max_length=200)


class CleaningTasksApiView(ApiActView, ListApiView):
    permission_required = MANAGE_PLACES
    permission_to_read = RECORD_CLEANING
    serializer_class = CleaningTaskToSaveSerializer
    row_serializer_class = CleaningStandingSerializer
    filterset_class = filters.CleaningTaskListFilters
    ordering_fields = ordered_by("id", "name", "kind")
    queryset = CleaningTask.objects.order_by("name", "id")

    @extend_schema(responses=CleaningStandingSerializer(many=True))
    def get(self, request: Request) -> Response:
        """List what is cleaned and how it is today, by name."""
        return self.list(request)

    def rows(self, page: list[CleaningTask]) -> list[queries.TaskRow]:
        known = {row.task.pk: row for row in queries.rows(with_unused=True)}
        return [known[task.pk] for task in page]

    @extend_schema(responses={201: CleaningTaskSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add something that is cleaned; a name that is on the schedule already is refused."""
        made = cleaning.save_task(**self.checked())
        return Response(CleaningTaskSerializer(made).data, status=status.HTTP_201_CREATED)


class CleaningTaskApiView(ApiActView):
    permission_required = MANAGE_PLACES
    permission_to_read = RECORD_CLEANING
    serializer_class = CleaningTaskToSaveSerializer

    @extend_schema(operation_id="cleaning_task", responses=CleaningTaskSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """Show one thing that is cleaned."""
        return Response(CleaningTaskSerializer(get_object_or_404(CleaningTask, pk=pk)).data)

    @extend_schema(
        operation_id="cleaning_tasks_change",
        responses={200: CleaningTaskSerializer, **REFUSALS},
    )
    def post(self, request: Request, pk: int) -> Response:
        """Change something that is cleaned: what is left out of the body is emptied."""
        task = get_object_or_404(CleaningTask.objects.all(), pk=pk)
        made = cleaning.save_task(task=task, **self.checked())
        return Response(CleaningTaskSerializer(made).data)


class CleaningsApiView(ApiActView, ListApiView):
    permission_required = RECORD_CLEANING
    serializer_class = CleaningToRecordSerializer
    row_serializer_class = CleaningSerializer
    filterset_class = filters.CleaningListFilters
    ordering_fields = ordered_by("id", "cleaned_on")
    queryset = Cleaning.objects.select_related("task", "removed_by").order_by("-cleaned_on", "-id")

    @extend_schema(responses=CleaningSerializer(many=True))
    def get(self, request: Request) -> Response:
        """List what was cleaned, the latest first; removed ones too."""
        return self.list(request)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: CleaningSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Mark something as cleaned."""
        key = self.key()
        data: dict[str, Any] = self.checked()
        made = cleaning.record(**data, recorded_by=person_of(request), key=key)
        return Response(CleaningSerializer(made).data, status=status.HTTP_201_CREATED)


class CleaningRemoveApiView(ApiActView):
    permission_required = RECORD_CLEANING
    serializer_class = serializers.Serializer

    @extend_schema(request=None, responses={200: CleaningSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Take a wrong entry back; it is kept as removed. Sent twice, the second is refused."""
        found = get_object_or_404(Cleaning.objects.all(), pk=pk)
        made = cleaning.remove(cleaning=found, removed_by=person_of(request))
        return Response(CleaningSerializer(made).data)
