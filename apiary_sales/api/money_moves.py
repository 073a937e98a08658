"""Money moved between the accounts of the house, through the API."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView, RetrieveApiView
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.money import ReasonSerializer
from apiary_sales.api.serializers import CENTS_MAX, StrictCharField, StrictIntegerField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.billing.models import WAYS, MoneyMove
from apiary_sales.billing.queries.money_moves import money_moves as all_moves
from apiary_sales.billing.services import money_moves
from inventory.shared.people import person_of

SEE = "billing.view_money"
TAKE = "billing.take_payments"


class MoneyMoveSerializer(RowSerializer):
    """Money that left one account for another; `arrived_cents` is what came there."""

    from_account = serializers.CharField()
    to_account = serializers.CharField()
    what = serializers.CharField()
    arrived_cents = serializers.IntegerField()
    counts_on = serializers.DateField(source="entry.entered_on")

    class Meta:
        model = MoneyMove
        fields = [
            "id",
            "from_account",
            "to_account",
            "what",
            "cents",
            "fee_cents",
            "arrived_cents",
            "moved_on",
            "counts_on",
            "reference",
            "note",
            "undone_on",
            "undone_reason",
        ]


class MoveMoneySerializer(serializers.Serializer):
    """Money to move; `cents` is all that leaves, with the fee."""

    from_account = serializers.ChoiceField(choices=sorted({str(way[0]) for way in WAYS}))
    to_account = serializers.ChoiceField(choices=sorted({str(way[1]) for way in WAYS}))
    cents = StrictIntegerField(min_value=1, max_value=CENTS_MAX)
    fee_cents = StrictIntegerField(min_value=0, max_value=CENTS_MAX, default=0)
    moved_on = serializers.DateField(required=False, allow_null=True)
    reference = StrictCharField(required=False, allow_blank=True, max_length=60)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class MoneyMovesApiView(ApiActView, ListApiView):
    filterset_class = filters.MoneyMoveListFilters
    ordering_fields = ordered_by("id", "moved_on", "cents")
    permission_required = TAKE
    permission_to_read = SEE
    serializer_class = MoveMoneySerializer
    row_serializer_class = MoneyMoveSerializer
    queryset = all_moves().select_related("entry")

    @extend_schema(responses=MoneyMoveSerializer(many=True))
    def get(self, request):
        """List the money that was moved, the newest first."""
        return self.list(request)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: MoneyMoveSerializer, **REFUSALS})
    def post(self, request):
        """Move money from one account of the house to another."""
        key = self.key()
        made = money_moves.move(**self.checked(), moved_by=person_of(request), key=key)
        return Response(MoneyMoveSerializer(made).data, status=status.HTTP_201_CREATED)


class MoneyMoveApiView(RetrieveApiView):
    """One move of money."""

    permission_classes = [ViewPermission]
    permission_required = SEE
    serializer_class = MoneyMoveSerializer
    queryset = all_moves().select_related("entry")


class MoneyMoveUndoApiView(ApiActView):
    permission_required = TAKE
    serializer_class = ReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: MoneyMoveSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Undo a move of money."""
        found = get_object_or_404(MoneyMove, pk=pk)
        self.key()
        made = money_moves.undo(money_move=found, **self.checked(), undone_by=person_of(request))
        return Response(MoneyMoveSerializer(made).data, status=status.HTTP_201_CREATED)
