"""The house itself through the API: people and what they changed, backups and how the service is
doing, exports, long work, and lists that were brought in.
"""

from typing import Any

from django.http import FileResponse
from django.http.response import HttpResponseBase
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import NotFound
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.accounts import access as people_access
from apiary_sales.accounts import queries as people_queries
from apiary_sales.accounts import roles
from apiary_sales.accounts.access import MANAGE_PEOPLE
from apiary_sales.accounts.models import User
from apiary_sales.api import filters
from apiary_sales.api.readings import ReadingApiView, RowApiView, RowsApiView
from apiary_sales.api.serializers import ProblemSerializer
from apiary_sales.imports.rules.kinds import BRING_IN
from apiary_sales.imports.views import access
from apiary_sales.keeping import export_work
from apiary_sales.keeping.models import Backup
from apiary_sales.keeping.queries import system as system_figures
from apiary_sales.keeping.services import backups
from inventory.shared import work_files
from inventory.shared.errors import BadValue
from inventory.shared.models import LongWork

KEEP_HOUSE = "keeping.keep_house"

# ------------------------------------------------------------------ people


class HousePersonSerializer(serializers.ModelSerializer):
    """A person who can sign in, or could."""

    name = serializers.CharField(source="display_name")

    class Meta:
        model = User
        fields = ["id", "username", "name", "email", "role", "is_active", "last_login"]


class HousePersonInFullSerializer(HousePersonSerializer):
    """The same; `pin_set_at` is null without a PIN for a shared phone at the stand."""

    sells = serializers.SerializerMethodField()
    pin_set_at = serializers.SerializerMethodField()

    class Meta(HousePersonSerializer.Meta):
        fields = [*HousePersonSerializer.Meta.fields, "sells", "pin_set_at"]

    def get_sells(self, person: User) -> bool:
        return person.role in roles.that_may(roles.SELL)

    @extend_schema_field(serializers.DateTimeField(allow_null=True))
    def get_pin_set_at(self, person: User) -> Any:
        pin = people_queries.pin_of(person)
        return pin and serializers.DateTimeField().to_representation(pin.set_at)


class PeopleApiView(RowsApiView):
    """Everybody who can sign in, and who could before."""

    permission_required = MANAGE_PEOPLE
    serializer_class = HousePersonSerializer
    queryset = people_queries.everyone()
    filterset_fields = ["role", "is_active"]
    ordering_fields = ["id", "username"]
    ordering = ["id"]


class PersonApiView(ReadingApiView):
    permission_required = MANAGE_PEOPLE

    @extend_schema(operation_id="person", responses=HousePersonInFullSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """One person."""
        return Response(HousePersonInFullSerializer(get_object_or_404(User, pk=pk)).data)


class SignedInPersonSerializer(HousePersonSerializer):
    """Who is signed in, and what they may do."""

    permissions = serializers.SerializerMethodField()

    class Meta(HousePersonSerializer.Meta):
        fields = [*HousePersonSerializer.Meta.fields, "permissions"]

    def get_permissions(self, person: User) -> list[str]:
        return sorted(roles.ROLE_PERMISSIONS.get(person.role, ()))


class SignedInPersonApiView(ReadingApiView):
    @extend_schema(operation_id="me", responses=SignedInPersonSerializer)
    def get(self, request: Request) -> Response:
        """Who you are signed in as."""
        me = people_access.me(request)
        return Response(SignedInPersonSerializer(me).data)


class TrailFigureSerializer(serializers.Serializer):
    """One figure, before and after, in words."""

    label = serializers.CharField()  # type: ignore[assignment]
    before = serializers.CharField()
    after = serializers.CharField()


class TrailSerializer(serializers.Serializer):
    """What somebody added, changed or removed; `who` is empty where the service did it."""

    id = serializers.IntegerField(source="pk")
    at = serializers.DateTimeField(source="timestamp")
    who = serializers.SerializerMethodField()
    who_id = serializers.IntegerField(source="actor_id", allow_null=True)
    action = serializers.SerializerMethodField()
    kind = serializers.SerializerMethodField()
    name = serializers.CharField(source="object_repr")
    figures = serializers.SerializerMethodField()

    def get_who(self, entry: Any) -> str:
        return entry.actor.display_name if entry.actor else ""

    @extend_schema_field(serializers.ChoiceField(["added", "changed", "removed"]))
    def get_action(self, entry: Any) -> str:
        told = people_queries.TrailEntry.of(entry)
        if told.is_removal:
            return "removed"
        return "changed" if told.is_change else "added"

    def get_kind(self, entry: Any) -> str:
        return people_queries.TrailEntry.of(entry).kind

    @extend_schema_field(TrailFigureSerializer(many=True))
    def get_figures(self, entry: Any) -> Any:
        told = people_queries.TrailEntry.of(entry)
        return TrailFigureSerializer(told.figures, many=True).data


class TrailApiView(RowsApiView):
    """What people changed in all that is set up, the newest first."""

    permission_required = MANAGE_PEOPLE
    serializer_class = TrailSerializer
    queryset = people_queries.changes()
    filterset_class = filters.ChangeListFilters
    ordering_fields = ["timestamp", "id"]
    ordering = ["-timestamp", "-id"]


# ------------------------------------------------------------------ backups, the service, exports


class BackupSerializer(serializers.ModelSerializer):
    """A backup that was made or tried; `message` says what went wrong."""

    class Meta:
        model = Backup
        fields = [
            "id",
            "kind",
            "made_at",
            "finished_at",
            "ok",
            "size_bytes",
            "sha256",
            "is_encrypted",
            "rehearsed_at",
            "rehearsal_ok",
            "message",
        ]


class BackupApiView(RowApiView):
    """One backup."""

    permission_required = KEEP_HOUSE
    serializer_class = BackupSerializer
    queryset = Backup.objects.all()


class BackupFileApiView(ReadingApiView):
    permission_required = KEEP_HOUSE

    @extend_schema(
        operation_id="backup_file",
        responses={(200, "application/octet-stream"): OpenApiTypes.BINARY},
    )
    def get(self, request: Request, pk: int) -> HttpResponseBase:
        """The file of a backup, where it is on this machine."""
        try:
            path = backups.check_file(get_object_or_404(Backup, pk=pk))
        except BadValue as error:
            raise NotFound(error.message) from None
        headers = {"Cache-Control": "no-store", "Content-Type": "application/octet-stream"}
        return FileResponse(
            path.open("rb"), as_attachment=True, filename=path.name, headers=headers
        )


class ServiceStateSerializer(serializers.Serializer):
    """How the service itself is doing."""

    version = serializers.CharField()
    python = serializers.CharField()
    django = serializers.CharField()
    database = serializers.CharField()
    database_bytes = serializers.IntegerField(source="database_size")
    files_bytes = serializers.IntegerField(source="files_size")
    disk_left_bytes = serializers.IntegerField(source="disk_left")
    is_disk_short = serializers.BooleanField()
    work_waiting = serializers.IntegerField(source="waiting")
    work_waiting_since = serializers.DateTimeField(source="waiting_since", allow_null=True)
    work_failed = serializers.IntegerField(source="failed")
    is_worker_missing = serializers.BooleanField()
    log_bytes = serializers.IntegerField(source="log_size")
    time_zone = serializers.CharField()
    now = serializers.DateTimeField()
    last_good_backup_at = serializers.DateTimeField(
        source="backups.last_good.made_at", default=None
    )


class ServiceStateApiView(ReadingApiView):
    permission_required = KEEP_HOUSE

    @extend_schema(operation_id="system", responses=ServiceStateSerializer)
    def get(self, request: Request) -> Response:
        """How the service itself is doing."""
        return Response(ServiceStateSerializer(system_figures.now()).data)


class LongWorkSerializer(serializers.ModelSerializer):
    """Work that takes a while; `has_file` once its file can be fetched."""

    percent = serializers.IntegerField(allow_null=True)
    has_ended = serializers.BooleanField()
    started_by = serializers.CharField(source="started_by.username", default=None)
    has_file = serializers.SerializerMethodField()

    class Meta:
        model = LongWork
        fields = [
            "id",
            "kind",
            "title",
            "state",
            "done",
            "total",
            "percent",
            "message",
            "has_ended",
            "has_file",
            "started_by",
            "started_by_id",
            "created_at",
            "finished_at",
        ]

    def get_has_file(self, work: LongWork) -> bool:
        return work_files.path_of(work) is not None


class KeptExportSerializer(serializers.Serializer):
    name = serializers.CharField(source="path.name")
    made_at = serializers.DateTimeField()
    size_bytes = serializers.IntegerField()


class ExportStateSerializer(serializers.Serializer):
    """The last export that is kept here, and the one that is being made; null without one."""

    kept = KeptExportSerializer(allow_null=True)
    under_way = LongWorkSerializer(allow_null=True)


class ExportApiView(ReadingApiView):
    permission_required = MANAGE_PEOPLE

    @extend_schema(operation_id="export", responses=ExportStateSerializer)
    def get(self, request: Request) -> Response:
        """Whether there is an export of the whole house."""
        told = {"kept": export_work.kept(), "under_way": export_work.under_way()}
        return Response(ExportStateSerializer(told).data)


class ExportFileApiView(ReadingApiView):
    permission_required = MANAGE_PEOPLE

    @extend_schema(
        operation_id="export_file",
        responses={
            (200, "application/zip"): OpenApiTypes.BINARY,
            (404, "application/problem+json"): ProblemSerializer,
        },
    )
    def get(self, request: Request) -> HttpResponseBase:
        """The last export."""
        kept = export_work.kept()
        if kept is None:
            raise NotFound(_("There is no export on this machine. Make one."))
        headers = {"Cache-Control": "no-store"}
        return FileResponse(
            kept.path.open("rb"), as_attachment=True, filename=kept.path.name, headers=headers
        )


# ------------------------------------------------------------------ lists that were brought in


ROWS_SHOWN = 1000


class ListColumnSerializer(serializers.Serializer):
    """A column of a list of a kind, and how it is written."""

    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    is_required = serializers.BooleanField()
    how = serializers.CharField()
    hint = serializers.CharField()


class ListKindSerializer(serializers.Serializer):
    """A kind of list that can be brought in."""

    kind = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    columns = ListColumnSerializer(many=True)


class ListKindsApiView(ReadingApiView):
    permission_required = BRING_IN

    @extend_schema(operation_id="import_kinds", responses=ListKindSerializer(many=True))
    def get(self, request: Request) -> Response:
        """The kinds of lists that you may bring in, with their columns."""
        return Response(ListKindSerializer(access.open_to(request.user), many=True).data)
