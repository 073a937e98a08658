"""Reports in the API: the same frames as the pages, in whole cents, grams and pieces."""

from django.http import Http404, HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.response import Response
from rest_framework.reverse import reverse

from apiary_sales.api.bases import ApiView
from apiary_sales.api.serializers import ProblemSerializer
from apiary_sales.api.views import ViewPermission
from apiary_sales.reports import exports
from apiary_sales.reports.catalogue import REPORTS
from apiary_sales.reports.columns import Unit
from apiary_sales.reports.report import FilteredReport
from inventory.shared import conventions

FILTERS = {
    "since": (OpenApiTypes.DATE, "First day that counts."),
    "until": (OpenApiTypes.DATE, "Last day that counts."),
    "on": (OpenApiTypes.DATE, "Stock as of the end of this day; now when left out."),
    "known_on": (
        OpenApiTypes.DATE,
        "As it was known at the end of this day; as it is known now when left out.",
    ),
    "account": (OpenApiTypes.STR, "Key of an account, as `/api/v1/accounts/` has it."),
    "season": (OpenApiTypes.STR, "Season of the honey, or `none`."),
    "size": (OpenApiTypes.STR, "Short name of a size."),
    "variety": (OpenApiTypes.STR, "Number of a variety, or `none`."),
    "product": (OpenApiTypes.STR, "Short name of a product."),
    "channel": (OpenApiTypes.STR, "`stand`, `shop`, `delivery` or `bulk`."),
    "customer": (OpenApiTypes.STR, "Number of a customer, or `none`."),
    "goods": (OpenApiTypes.STR, "`packed`, `bulk`, `charges` or `all`; all honey when left out."),
    "cost": (OpenApiTypes.STR, "`known` or `none`: sales with a known cost, or without one."),
    "kind": (OpenApiTypes.STR, "Kind of stock: `honey`, `packed` or `part`."),
    "reason": (OpenApiTypes.STR, "Why goods are gone, such as `broken`."),
    "days": (OpenApiTypes.STR, "Whole days without movement."),
    "measure": (OpenApiTypes.STR, "`grams` or `margin_cents`; sales in cents when left out."),
    "years": (OpenApiTypes.STR, "How many years, from 2 to 4."),
    "seasons": (OpenApiTypes.STR, "How many seasons, from 2 to 7."),
    "sort": (OpenApiTypes.STR, "Name of a column, with `-` before it for the largest first."),
}


class ReportColumnSerializer(serializers.Serializer):
    name = serializers.CharField()
    # The metaclass takes fields out of the class, so they may be called as attributes of it.
    label = serializers.CharField()  # type: ignore[assignment]
    unit = serializers.ChoiceField(choices=[str(unit) for unit in Unit])


class ReportSerializer(serializers.Serializer):
    """A report: rows of figures by column name, and their total.

    Cents, grams, pieces, days and counts are whole numbers; percentages and prices by weight,
    of `weight_unit`, are decimals in text; null is a figure that is not known, in a
    total one that does not add up.
    """

    slug = serializers.CharField()
    title = serializers.CharField()
    definition = serializers.ListField(child=serializers.CharField())
    filters = serializers.DictField(child=serializers.CharField())
    currency = serializers.CharField()
    weight_unit = serializers.CharField()
    columns = ReportColumnSerializer(many=True)
    rows = serializers.ListField(child=serializers.DictField())
    total = serializers.DictField()


class ReportEntrySerializer(serializers.Serializer):
    """A report there is to ask for, and the names of the filters it takes."""

    slug = serializers.CharField()
    title = serializers.CharField()
    definition = serializers.ListField(child=serializers.CharField())
    filters = serializers.ListField(child=serializers.CharField())
    url = serializers.URLField()


class ReportListView(ApiView):
    permission_classes = [ViewPermission]
    permission_required = "billing.view_money"

    @extend_schema(operation_id="reports_list", responses=ReportEntrySerializer(many=True))
    def get(self, request):
        """Return every report there is, with its address; there are always as many."""
        entries = [
            {
                "slug": slug,
                "title": report.title,
                "definition": report.definition,
                "filters": list(report.form().fields),
                "url": reverse("api:report", args=[slug], request=request),
            }
            for slug, report in REPORTS.items()
        ]
        return Response(ReportEntrySerializer(entries, many=True).data)


class OneReportView(ApiView):
    """An address of one report, which takes the filters of that report."""

    permission_classes = [ViewPermission]
    permission_required = "billing.view_money"

    def parameters(self, method: str) -> dict[str, bool]:
        known = super().parameters(method)
        report = REPORTS.get(self.kwargs["slug"])
        own = known if report is None else {*report.form.base_fields, "sort"}
        return {name: may_repeat for name, may_repeat in known.items() if name in own}


class ReportView(OneReportView):
    @extend_schema(
        parameters=[
            OpenApiParameter(name, kind, description=says) for name, (kind, says) in FILTERS.items()
        ],
        responses={
            200: ReportSerializer,
            (400, "application/problem+json"): ProblemSerializer,
        },
    )
    def get(self, request, slug: str):
        """Return one report; a filter that it does not have is refused."""
        made = _made(request, slug)
        report = made.report
        answer = {
            "slug": report.slug,
            "title": report.title,
            "definition": report.definition,
            "filters": made.in_address,
            "currency": conventions.current().currency,
            "weight_unit": conventions.current().weight_unit,
            "columns": made.columns,
            "rows": [_plain(row) for row in made.sorted_rows],
            "total": _plain(made.total),
        }
        return Response(ReportSerializer(answer).data)


class ReportCsvView(OneReportView):
    @extend_schema(
        parameters=[
            OpenApiParameter(name, kind, description=says) for name, (kind, says) in FILTERS.items()
        ],
        responses={
            (200, "text/csv"): OpenApiTypes.STR,
            (400, "application/problem+json"): ProblemSerializer,
        },
    )
    def get(self, request, slug: str):
        """Return one report as CSV, with commas and decimal points, the total in the last line."""
        made = _made(request, slug)
        return HttpResponse(
            exports.csv_file(made, for_program=True),
            content_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": f'attachment; filename="{slug}.csv"'},
        )


def _made(request, slug: str) -> FilteredReport:
    """Return a report for the filters that were asked for."""
    try:
        report = REPORTS[slug]
    except KeyError:
        raise Http404 from None
    form = report.form(request.query_params)
    if not form.is_valid():
        raise ValidationError(
            {name: [str(text) for text in found] for name, found in form.errors.items()}
        )
    return FilteredReport(report, form, request.query_params.get("sort", ""))


def _plain(values: dict) -> dict:
    """Write decimals as text, so that no reader makes a binary fraction of them."""
    return {
        name: value if value is None or isinstance(value, int) else str(value)
        for name, value in values.items()
    }
