"""Lists brought in from files through the API: uploaded, matched, checked, brought in, undone."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import parsers, serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.bases import GenericApiView, ListApiView
from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.files import FILE_MESSAGES
from apiary_sales.api.serializers import StrictCharField, StrictIntegerField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from apiary_sales.api.work import WorkSerializer, begun
from apiary_sales.imports.models import Import, ImportKind, ImportRow
from apiary_sales.imports.queries import imports as queries
from apiary_sales.imports.rules.kinds import BRING_IN
from apiary_sales.imports.services import long_lists, undoing, uploads
from apiary_sales.imports.views import access
from inventory.shared.models import LongWork
from inventory.shared.people import person_of

COLUMNS_MAX = 1_000


class ImportSerializer(serializers.ModelSerializer):
    """A list and how far it is; `columns` has the position in the file of each of ours."""

    uploaded_by = serializers.CharField(source="uploaded_by.username")
    work_id = serializers.IntegerField(allow_null=True)

    class Meta:
        model = Import
        fields = [
            "id",
            "kind",
            "state",
            "file_name",
            "headings",
            "columns",
            "rows_read",
            "rows_bad",
            "rows_made",
            "message",
            "uploaded_by",
            "uploaded_at",
            "completed_at",
            "undone_at",
            "undone_reason",
            "work_id",
        ]


class BadRowSerializer(serializers.ModelSerializer):
    """A row with something wrong: its problems, each with a column or none."""

    problems = serializers.ListField(child=serializers.ListField(child=serializers.CharField()))

    class Meta:
        model = ImportRow
        fields = ["number", "cells", "problems"]


class ListToUploadSerializer(serializers.Serializer):
    """A list as a part of a form (multipart/form-data): CSV or a workbook."""

    kind = serializers.ChoiceField(ImportKind.choices)
    # An empty file is refused where the others are, in the same words.
    file = serializers.FileField(allow_empty_file=True, error_messages=FILE_MESSAGES)
    decimal_sign = serializers.ChoiceField([".", ","])
    day_order = serializers.ChoiceField(Import.DayOrder.choices)
    again = serializers.BooleanField(
        default=False, help_text="Bring in a file that was brought in before."
    )


class ColumnsToMatchSerializer(serializers.Serializer):
    """The position in the file of each of our columns, from 0; null where it is not in it."""

    columns = serializers.DictField(
        child=StrictIntegerField(min_value=0, max_value=COLUMNS_MAX, allow_null=True)
    )


class ListToBringInSerializer(serializers.Serializer):
    """Whether the rows with something wrong are left out."""

    without_bad_rows = serializers.BooleanField(required=False)


class ImportToUndoSerializer(serializers.Serializer):
    """Why it is undone."""

    reason = StrictCharField(max_length=300)


class ImportsApiView(ApiActView, ListApiView):
    """Lists of the kinds that a person may bring in."""

    permission_required = BRING_IN
    serializer_class = ListToUploadSerializer
    parser_classes = [parsers.MultiPartParser]
    queryset = Import.objects.none()

    def get_queryset(self):
        kinds = [what.kind for what in access.open_to(self.request.user)]
        return queries.kept().filter(kind__in=kinds).order_by("-id")

    def get_serializer_class(self):
        return ImportSerializer

    @extend_schema(operation_id="imports_list", responses=ImportSerializer(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List what was uploaded and not dropped, newest first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        request={"multipart/form-data": ListToUploadSerializer},
        responses={201: ImportSerializer, **REFUSALS},
    )
    def post(self, request: Request) -> Response:
        """Upload a list; its columns are guessed, and nothing of it counts yet."""
        key = self.key()
        data = self.checked()
        access.kind_for(request.user, data["kind"])
        made = uploads.upload(**data, uploaded_by=person_of(request), key=key)
        return Response(ImportSerializer(made).data, status=status.HTTP_201_CREATED)


class ImportApiView(GenericApiView):
    permission_required = BRING_IN
    serializer_class = ImportSerializer
    queryset = Import.objects.none()

    @extend_schema(operation_id="import", responses=ImportSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """Show how far a list is."""
        return Response(ImportSerializer(access.import_for(request.user, pk)).data)


class ImportBadRowsApiView(ListApiView):
    """The rows of a list with something wrong."""

    permission_required = BRING_IN
    serializer_class = BadRowSerializer
    queryset = ImportRow.objects.none()

    def get_queryset(self):
        begun = access.import_for(self.request.user, self.kwargs["pk"])
        return begun.rows.exclude(problems=[]).order_by("number")


class ImportActView(ApiActView):
    """An act on one list, for who may bring in its kind."""

    permission_required = BRING_IN

    def found(self) -> Import:
        return access.import_for(self.request.user, self.kwargs["pk"])

    def answer(self, work: LongWork | None) -> Response:
        """Answer with the list where all is done, or else with the work that goes on."""
        if work is not None:
            return begun(self.request, work)
        return Response(ImportSerializer(self.found()).data)


WORKED: dict[Any, Any] = {200: ImportSerializer, 202: WorkSerializer, **REFUSALS}


class ImportColumnsApiView(ImportActView):
    serializer_class = ColumnsToMatchSerializer

    @extend_schema(responses={200: ImportSerializer, **REFUSALS})
    def put(self, request: Request, pk: int) -> Response:
        """Say which column of the file each of ours is; the list has to be checked then."""
        made = uploads.match(begun=self.found(), **self.checked())
        return Response(ImportSerializer(made).data)


class ImportCheckApiView(ImportActView):
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses=WORKED)
    def post(self, request: Request, pk: int) -> Response:
        """Check every row: a short list at once, a long one as long work."""
        return self.answer(long_lists.check(begun=self.found(), checked_by=person_of(request)))


class ImportBringInApiView(ImportActView):
    serializer_class = ListToBringInSerializer

    @extend_schema(responses=WORKED)
    def post(self, request: Request, pk: int) -> Response:
        """Bring a checked list in: a short one at once, a long one as long work."""
        return self.answer(
            long_lists.bring_in(
                begun=self.found(), **self.checked(), brought_in_by=person_of(request)
            )
        )


class ImportDropApiView(ImportActView):
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={204: None, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Drop a list that was not brought in, with all that was read of it."""
        uploads.drop(begun=self.found())
        return Response(status=status.HTTP_204_NO_CONTENT)


class ImportUndoApiView(ImportActView):
    serializer_class = ImportToUndoSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: ImportSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Undo everything that a list made."""
        brought_in = self.found()
        key = self.key()
        made = undoing.undo(
            brought_in=brought_in, **self.checked(), undone_by=person_of(request), key=key
        )
        return Response(ImportSerializer(made).data)
