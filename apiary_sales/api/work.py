"""Long work through the API: how far it is, its file, a way to stop it; and what begins some.

Who begins long work is answered with 202 and with the address of its progress.
"""

import mimetypes
from datetime import date
from typing import Any

from django.http import Http404, HttpResponse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from apiary_sales.accounts.access import MANAGE_PEOPLE
from apiary_sales.api.bases import ApiView
from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.fields import IdField
from apiary_sales.api.views import REFUSALS, ApiActView
from apiary_sales.billing import printing
from apiary_sales.billing.models import Invoice
from apiary_sales.customers.models import Customer
from apiary_sales.keeping import export_work
from apiary_sales.keeping.services import by_hand
from apiary_sales.reports import long_files
from apiary_sales.reports.catalogue import REPORTS
from inventory.shared import work_files
from inventory.shared.long_work_views import SEE_ALL
from inventory.shared.models import LongWork
from inventory.shared.people import person_of
from inventory.shared.services import long_work

SEE_MONEY = "billing.view_money"
# What long work makes: papers, reports, and what else a file may be.
FILE_MEDIA_TYPES = (
    "application/octet-stream",
    "application/pdf",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "application/zip",
    "text/csv",
)


class WorkSerializer(serializers.ModelSerializer):
    """How far long work is; `file` is the address of what it made, null where it made none."""

    url = serializers.SerializerMethodField()
    percent = serializers.IntegerField(allow_null=True)
    has_ended = serializers.BooleanField()
    started_by = serializers.CharField(source="started_by.username", default=None)
    file = serializers.SerializerMethodField()

    class Meta:
        model = LongWork
        fields = [
            "id",
            "url",
            "kind",
            "title",
            "state",
            "has_ended",
            "done",
            "total",
            "percent",
            "message",
            "stop_asked",
            "started_by",
            "created_at",
            "finished_at",
            "file",
        ]

    def get_url(self, work: LongWork) -> str:
        return reverse("api:work", args=[work.pk], request=self.context["request"])

    def get_file(self, work: LongWork) -> str | None:
        if work.state != LongWork.State.DONE or work_files.path_of(work) is None:
            return None
        return reverse("api:work-file", args=[work.pk], request=self.context["request"])


def begun(request: Request, work: LongWork) -> Response:
    """Answer that work was begun, and where its progress is read."""
    made = WorkSerializer(work, context={"request": request}).data
    return Response(made, status=status.HTTP_202_ACCEPTED, headers={"Location": made["url"]})


BEGUN: dict[Any, Any] = {202: WorkSerializer, **REFUSALS}


def work_for(request: Request, pk: int) -> LongWork:
    """Return one's own work, or that of others for who manages people; raises `Http404`."""
    work = LongWork.objects.filter(pk=pk).first()
    # Others are not told whether there is such work.
    if work is None or (
        work.started_by_id != person_of(request).pk and not request.user.has_perm(SEE_ALL)
    ):
        raise Http404
    return work


class WorkApiView(ApiView):
    @extend_schema(operation_id="work", responses=WorkSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """Show how far long work is."""
        work = work_for(request, pk)
        if long_work.is_lost(work):
            long_work.end_lost()
            work.refresh_from_db()
        return Response(WorkSerializer(work, context={"request": request}).data)


class WorkFileApiView(ApiView):
    @extend_schema(
        operation_id="work_file",
        responses={(200, media_type): OpenApiTypes.BINARY for media_type in FILE_MEDIA_TYPES},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """Hand out the file that long work made, in its own media type."""
        work = work_for(request, pk)
        path = work_files.path_of(work)
        if path is None:
            raise Http404(_("This file is no longer kept. Make it again."))
        return HttpResponse(
            path.read_bytes(),
            content_type=mimetypes.guess_type(path.name)[0] or "application/octet-stream",
            headers={
                "Content-Disposition": content_disposition_header(
                    True, f"{work.title}{path.suffix}"
                )
                or "attachment",
                "X-Content-Type-Options": "nosniff",
                "Cache-Control": "private, no-store",
            },
        )


class WorkStopApiView(ApiActView):
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: WorkSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Ask long work to stop at its next step."""
        work = work_for(request, pk)
        long_work.ask_to_stop(work)
        work.refresh_from_db()
        return Response(WorkSerializer(work, context={"request": request}).data)


class BackupsApiView(ApiActView):
    permission_required = "keeping.keep_house"
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses=BEGUN)
    def post(self, request: Request) -> Response:
        """Make a backup and rehearse its restore; one that is under way is the answer."""
        return begun(request, by_hand.ask_for(started_by=person_of(request)))


class ExportsSerializer(serializers.Serializer):
    """The export that is kept on this machine, and the one that is being made."""

    made_at = serializers.DateTimeField(source="kept.made_at", default=None)
    size_bytes = serializers.IntegerField(source="kept.size_bytes", default=None)
    under_way = WorkSerializer(allow_null=True)


class ExportsApiView(ApiActView):
    permission_required = MANAGE_PEOPLE
    serializer_class = NothingSerializer

    @extend_schema(operation_id="exports", responses=ExportsSerializer)
    def get(self, request: Request) -> Response:
        """Show which export is kept on this machine, and which is being made."""
        found = {"kept": export_work.kept(), "under_way": export_work.under_way()}
        return Response(ExportsSerializer(found, context={"request": request}).data)

    @extend_schema(request=None, responses=BEGUN)
    def post(self, request: Request) -> Response:
        """Export everything of the house; one that is under way is the answer."""
        return begun(request, export_work.begin(started_by=person_of(request)))


class ExportDeleteApiView(ApiActView):
    permission_required = MANAGE_PEOPLE
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={204: None, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Delete the exports that are kept on this machine."""
        export_work.delete()
        return Response(status=status.HTTP_204_NO_CONTENT)


class InvoicesToPrintSerializer(serializers.Serializer):
    """Invoices by their keys, printed in this order."""

    invoices = serializers.ListField(
        child=IdField(queryset=Invoice.objects.all()),
        allow_empty=False,
        max_length=printing.PAPERS_MAX,
        source="pks",
    )


class InvoicesPrintApiView(ApiActView):
    permission_required = SEE_MONEY
    serializer_class = InvoicesToPrintSerializer

    @extend_schema(responses=BEGUN)
    def post(self, request: Request) -> Response:
        """Print invoices as one PDF."""
        pks = [invoice.pk for invoice in self.checked()["pks"]]
        return begun(request, printing.begin_invoices(pks=pks, started_by=person_of(request)))


class StatementsToPrintSerializer(serializers.Serializer):
    """Customers by their keys, and the days of their statements."""

    customers = serializers.ListField(
        child=IdField(queryset=Customer.objects.all()),
        allow_empty=False,
        max_length=printing.PAPERS_MAX,
        source="pks",
    )
    since = serializers.DateField()
    until = serializers.DateField()

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        first: date = attrs["since"]
        if first > attrs["until"]:
            raise serializers.ValidationError(
                {"until": _("Enter a last day that is not before the first one.")}
            )
        return attrs


class StatementsPrintApiView(ApiActView):
    permission_required = SEE_MONEY
    serializer_class = StatementsToPrintSerializer

    @extend_schema(responses=BEGUN)
    def post(self, request: Request) -> Response:
        """Print the statements of customers as one PDF."""
        data = self.checked()
        pks = [customer.pk for customer in data.pop("pks")]
        return begun(
            request, printing.begin_statements(pks=pks, **data, started_by=person_of(request))
        )


class ReportFileSerializer(serializers.Serializer):
    """A file of a report, and its filters as the address of its page has them."""

    ending = serializers.ChoiceField(["csv", "xlsx"])
    filters = serializers.DictField(child=serializers.CharField(), required=False, source="query")


class ReportFilesApiView(ApiActView):
    permission_required = SEE_MONEY
    serializer_class = ReportFileSerializer

    @extend_schema(responses=BEGUN)
    def post(self, request: Request, slug: str) -> Response:
        """Write a report to a file, however large the books are."""
        if slug not in REPORTS:
            raise Http404
        data = self.checked()
        query = data.get("query", {})
        form = REPORTS[slug].form(query)
        if not form.is_valid():
            texts = [str(text) for found in form.errors.values() for text in found]
            raise serializers.ValidationError({"filters": texts})
        work = long_files.begin(
            slug=slug, ending=data["ending"], query=query, started_by=person_of(request)
        )
        return begun(request, work)
