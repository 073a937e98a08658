"""Reports in the API: the same frames as the pages, in whole cents, grams and pieces."""

from django.http import Http404, StreamingHttpResponse
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.utils.urls import replace_query_param

from apiary_sales.api.bases import ApiView
from apiary_sales.api.serializers import ProblemSerializer
from apiary_sales.api.views import ViewPermission
from apiary_sales.reports import exports
from apiary_sales.reports.catalogue import REPORTS
from apiary_sales.reports.columns import Unit
from apiary_sales.reports.report import FilteredReport
from inventory.shared import conventions
from inventory.shared.row_keys import row_key

# So many rows are in an answer.
ROWS_A_PAGE = 1000
FILTERS = {
    "since": (
        OpenApiTypes.DATE,
        "First day that counts. Where neither `since`, `until` nor `season` is sent, a report is "
        "of this year, or of the years that it compares; `filters` in the answer says which days. "
        "For all days send it empty: `?since=`.",
    ),
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


PAGE = OpenApiParameter(
    "page",
    OpenApiTypes.INT,
    description=f"Which {ROWS_A_PAGE} rows of the report, from 1 on; the first when left out.",
)


class ReportColumnSerializer(serializers.Serializer):
    name = serializers.CharField()
    # The metaclass takes fields out of the class, so they may be called as attributes of it.
    label = serializers.CharField()  # type: ignore[assignment]
    unit = serializers.ChoiceField(choices=[str(unit) for unit in Unit])


class ReportSerializer(serializers.Serializer):
    """A report: rows of figures by column name, and their total.

    Cents, grams, pieces, days and counts are whole numbers; percentages and prices by weight,
    of `weight_unit`, are decimals in text; null is a figure that is not known, in a
    total one that does not add up. The total is that of all `count` rows; `rows` are those of one
    page, and `next` is the address of the page after it, null after the last.
    """

    slug = serializers.CharField()
    title = serializers.CharField()
    definition = serializers.ListField(child=serializers.CharField())
    filters = serializers.DictField(child=serializers.CharField())
    currency = serializers.CharField()
    weight_unit = serializers.CharField()
    columns = ReportColumnSerializer(many=True)
    count = serializers.IntegerField()
    next = serializers.URLField(allow_null=True)
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
                "filters": list(report.form.names()),
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
        own = known if report is None else {*report.form.base_fields, "sort", "page"}
        return {name: may_repeat for name, may_repeat in known.items() if name in own}


def _page(request: Request, count: int) -> int:
    """Return which page of so many rows is asked for; raises `ValidationError`."""
    asked = request.query_params.get("page", "1")
    pages = max(1, -(-count // ROWS_A_PAGE))
    number = row_key(asked)
    if not 1 <= number <= pages:
        said = _("Enter a page from 1 to %(pages)s.") % {"pages": pages}
        raise ValidationError({"page": [said]})
    return number


class ReportView(OneReportView):
    @extend_schema(
        parameters=[
            PAGE,
            *(
                OpenApiParameter(name, kind, description=says)
                for name, (kind, says) in FILTERS.items()
            ),
        ],
        responses={
            200: ReportSerializer,
            (400, "application/problem+json"): ProblemSerializer,
        },
    )
    def get(self, request, slug: str):
        """Return one report; a filter that it does not have is refused."""
        made = _made(request, slug)
        report, count = made.report, len(made.order)
        page = _page(request, count)
        first, after = (page - 1) * ROWS_A_PAGE, page * ROWS_A_PAGE
        address = request.build_absolute_uri()
        answer = {
            "slug": report.slug,
            "title": report.title,
            "definition": report.definition,
            "filters": made.in_address,
            "currency": conventions.current().currency,
            "weight_unit": conventions.current().weight_unit,
            "columns": made.columns,
            "count": count,
            "next": replace_query_param(address, "page", page + 1) if after < count else None,
            "rows": [_plain(row) for row in made.rows_at(made.order[first:after])],
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
        return StreamingHttpResponse(
            exports.csv_chunks(made, for_program=True),
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
