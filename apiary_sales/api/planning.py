"""Plans through the API: a long search begun, its runs made, and what the owner expects."""

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.bottling import RunSerializer
from apiary_sales.api.fields import (
    PiecesCountField,
    StoreCodeField,
    StrictModelSerializer,
    VesselCodeField,
    rows_of,
)
from apiary_sales.api.serializers import CodeField, StrictDecimalField, StrictIntegerField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from apiary_sales.api.work import BEGUN, begun
from apiary_sales.planning import long_search, services
from apiary_sales.planning.asked import PlanForms
from apiary_sales.planning.models import SeasonOutlook
from apiary_sales.planning.services import DraftRun
from inventory.bottling.models import Product
from inventory.shared.people import person_of
from inventory.shared.row_keys import KEY_MAX

MANAGE_PRICES = "pricing.manage_prices"
RUN_BOTTLING = "inventory.run_bottling"


class PlanToSearchSerializer(serializers.Serializer):
    """The figures of a plan as the address of its page has them; others are as the books are."""

    figures = serializers.DictField(child=serializers.CharField(), required=False, source="query")


class DraftRunSerializer(serializers.Serializer):
    """So many pieces of a product, to be filled from a vessel."""

    # The metaclass takes fields out of the class, so they may be called as attributes of it.
    source = VesselCodeField()  # type: ignore[assignment]
    product = CodeField(queryset=Product.objects.for_sale())
    pieces = PiecesCountField()

    def validate(self, attrs: dict[str, Any]) -> Any:
        return DraftRun(**attrs)


class DraftRunsSerializer(serializers.Serializer):
    """The runs of a plan, where the jars go, and the day.

    `newest_seen` is the key of the newest planned run that was known, 0 for none;
    `moisture_is_right` confirms honey above the house's own limit of moisture.
    """

    drafts = rows_of(DraftRunSerializer, allow_empty=False, max_length=services.RUNS_MAX)
    target = StoreCodeField()
    planned_for = serializers.DateField()
    newest_seen = StrictIntegerField(min_value=0, max_value=KEY_MAX)
    moisture_is_right = serializers.BooleanField(required=False)


class SeasonOutlookSerializer(StrictModelSerializer):
    """What the owner expects of the season; null is taken from the books, or is not known.

    Prices are of the house's unit of weight. `hours_by_month` has the hours of the months ("1" to
    "12") that differ from `hours`. Send the `version` that was read, 0 for none.
    """

    hours_by_month = serializers.DictField(
        child=StrictDecimalField(max_digits=7, decimal_places=2, min_value=0)
    )
    version = StrictIntegerField(min_value=0, max_value=2**63 - 1)

    class Meta:
        model = SeasonOutlook
        fields = [
            "outlook",
            "kept_per_pound",
            "storage_per_pound",
            "interest_percent",
            "drum_month_grams",
            "drum_year_grams",
            "harvest_month",
            "harvest_grams",
            "harvest_spread_grams",
            "room_grams",
            "hours",
            "hours_by_month",
            "version",
        ]
        extra_kwargs = {name: {"required": True} for name in fields[:-2]}

    def validate_hours_by_month(self, hours: dict[str, Any]) -> dict[int, Any]:
        wrong = [name for name in hours if name not in map(str, range(1, 13))]
        if wrong:
            raise serializers.ValidationError(_("Name each month by its number, 1 to 12."))
        return {int(month): each for month, each in hours.items()}


class PlanSearchApiView(ApiActView):
    permission_required = MANAGE_PRICES
    serializer_class = PlanToSearchSerializer

    @extend_schema(responses=BEGUN)
    def post(self, request: Request) -> Response:
        """Search for the best bottling plan for minutes; its file has the plan."""
        query = self.checked().get("query", {})
        form = PlanForms.filled(query).form
        if not form.is_valid():
            texts = [str(text) for found in form.errors.values() for text in found]
            raise serializers.ValidationError({"figures": texts})
        return begun(request, long_search.begin(query=query, started_by=person_of(request)))


class PlanRunsApiView(ApiActView):
    permission_required = (MANAGE_PRICES, RUN_BOTTLING)
    serializer_class = DraftRunsSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: RunSerializer(many=True), **REFUSALS}
    )
    def post(self, request: Request) -> Response:
        """Plan every run of a bottling plan, or none of them."""
        key = self.key()
        made = services.make_draft_runs(**self.checked(), planned_by=person_of(request), key=key)
        return Response(RunSerializer(made, many=True).data, status=status.HTTP_201_CREATED)


class SeasonOutlookApiView(ApiActView):
    permission_required = MANAGE_PRICES
    serializer_class = SeasonOutlookSerializer

    @extend_schema(responses=SeasonOutlookSerializer)
    def get(self, request: Request) -> Response:
        """Show what the owner expects of the season."""
        return Response(SeasonOutlookSerializer(SeasonOutlook.current()).data)

    @extend_schema(responses={200: SeasonOutlookSerializer, **REFUSALS})
    def put(self, request: Request) -> Response:
        """Keep what the owner expects of the season."""
        made = services.save_season_outlook(**self.checked(), changed_by=person_of(request))
        return Response(SeasonOutlookSerializer(made).data)
