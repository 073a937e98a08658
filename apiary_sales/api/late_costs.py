"""Goods sold without a known cost, and the cost they get later, through the API."""

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ApiView, ListApiView
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import CENTS_MAX, StrictIntegerField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.orders.late_cost_models import LateCosting
from apiary_sales.orders.late_costs import sold_without_cost
from apiary_sales.orders.queries import late_costs as read
from apiary_sales.orders.services import late_costs
from inventory.shared.errors import BadValue
from inventory.shared.people import person_of

PRICES = "pricing.manage_prices"


class LateCostingSerializer(RowSerializer):
    """Goods that were given a cost late: how many lines, their cost, and whether it was undone."""

    count = serializers.IntegerField()
    cost_cents = serializers.IntegerField(source="cents")
    recorded_by = serializers.CharField(source="recorded_by.username")
    is_undone = serializers.BooleanField()

    class Meta:
        model = LateCosting
        fields = ["id", "season", "recorded_at", "recorded_by", "count", "cost_cents", "is_undone"]


class LateCostingToMakeSerializer(serializers.Serializer):
    """The season whose honey is costed; everything without one.

    With the cost and number of lines as they were read, nothing is costed when they have changed.
    """

    season = StrictIntegerField(required=False, allow_null=True, min_value=1900, max_value=2200)
    expected_total_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )
    expected_lines = StrictIntegerField(min_value=0, required=False, allow_null=True)


class SoldWithoutCostSerializer(serializers.Serializer):
    """What was sold without a known cost, and how much of it has one by now."""

    lines = serializers.IntegerField()
    amount_cents = serializers.IntegerField()
    lines_known_now = serializers.IntegerField()
    amount_cents_known_now = serializers.IntegerField()
    cost_cents_known_now = serializers.IntegerField()


class SoldWithoutCostApiView(ApiView):
    permission_classes = [ViewPermission]
    permission_required = PRICES

    @extend_schema(
        parameters=[OpenApiParameter("season", OpenApiTypes.INT, description="A season, or all.")],
        responses={200: SoldWithoutCostSerializer},
    )
    def get(self, request: Request) -> Response:
        """What was sold without a known cost."""
        asked = request.query_params.get("season", "")
        if asked and not (asked.isdecimal() and len(asked) == 4):
            raise BadValue("Send the season as a year of four digits.", parameter="season")
        found = sold_without_cost(int(asked) if asked else None)
        return Response(
            {
                "lines": len(found.lines),
                "amount_cents": found.amount_cents,
                "lines_known_now": len(found.known),
                "amount_cents_known_now": found.known_amount_cents,
                "cost_cents_known_now": found.known_cost_cents,
            }
        )


class LateCostingsApiView(ApiActView, ListApiView):
    filterset_class = filters.LateCostingListFilters
    ordering_fields = ordered_by("id", "recorded_at")
    permission_required = PRICES
    serializer_class = LateCostingToMakeSerializer
    row_serializer_class = LateCostingSerializer
    queryset = read.costings()

    @extend_schema(responses=LateCostingSerializer(many=True))
    def get(self, request: Request) -> Response:
        """List the late costings, the newest first."""
        return self.list(request)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: LateCostingSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Cost what was sold without a cost, as of the day it was sold."""
        key = self.key()
        made = late_costs.cost(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(_told(made), status=status.HTTP_201_CREATED)


class LateCostingUndoApiView(ApiActView):
    permission_required = PRICES
    serializer_class = serializers.Serializer

    @extend_schema(
        request=None,
        parameters=[IDEMPOTENCY_KEY],
        responses={200: LateCostingSerializer, **REFUSALS},
    )
    def post(self, request: Request, pk: int) -> Response:
        """Let what a late costing gave a cost be without one again."""
        costing = get_object_or_404(read.costings(), pk=pk)
        late_costs.undo(costing=costing, recorded_by=person_of(request), key=self.key())
        return Response(_told(costing))


def _told(costing: LateCosting) -> dict:
    return LateCostingSerializer(read.costings().get(pk=costing.pk)).data
