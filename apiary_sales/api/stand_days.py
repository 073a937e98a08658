"""A day at a stand through the API: open, cash in and out, close, open again."""

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.exceptions import PermissionDenied
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView, RetrieveApiView
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.money import ReasonSerializer
from apiary_sales.api.serializers import CENTS_MAX, CodeField, StrictCharField, StrictIntegerField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.billing.denominations import PIECES_MAX
from apiary_sales.billing.models import ExpenseCategory, StandCash, StandDay, StandDayClose
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.queries.stand_days import stand_days as days_of
from apiary_sales.billing.services import stand_days
from inventory.shared.people import person_of
from inventory.stock import own_places
from inventory.stock.models import Place

SELL = "orders.sell_at_stand"


class StandDayCloseSerializer(RowSerializer):
    """The count that closed a day; what is over is above zero, what is short below it."""

    difference_cents = serializers.IntegerField()

    class Meta:
        model = StandDayClose
        fields = [
            "id",
            "closed_at",
            "counted_cents",
            "counted_pieces",
            "float_cents",
            "sold_cents",
            "on_top_cents",
            "given_back_cents",
            "in_cents",
            "out_cents",
            "expected_cents",
            "difference_cents",
            "note",
            "undone_on",
            "undone_reason",
        ]


class StandDaySerializer(RowSerializer):
    """The drawer of a place on a day; `closing` is None while it is open."""

    place = serializers.CharField(source="place.code")
    closing = StandDayCloseSerializer(allow_null=True)

    class Meta:
        model = StandDay
        fields = ["id", "place", "day", "float_cents", "float_pieces", "note", "closing"]


class StandCashSerializer(RowSerializer):
    class Meta:
        model = StandCash
        fields = ["id", "stand_day", "kind", "cents", "text", "expense", "undone_on"]


class CoinsField(serializers.DictField):
    """So many of each coin and note, by name: {"coin-25": 20, "note-100": 15}."""

    def __init__(self, **kwargs) -> None:
        super().__init__(
            child=StrictIntegerField(min_value=0, max_value=PIECES_MAX), required=False, **kwargs
        )


class OpenStandDaySerializer(serializers.Serializer):
    """A float as a sum, or by coins and notes."""

    place = CodeField(queryset=Place.objects.filter(kind__in=Place.STORES))
    day = serializers.DateField(required=False, allow_null=True)
    float_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )
    float_pieces = CoinsField()
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class MoveStandCashSerializer(serializers.Serializer):
    """Cash in or out; what is paid from the drawer names who was paid and what for."""

    kind = serializers.ChoiceField(choices=StandCash.Kind.choices)
    cents = StrictIntegerField(min_value=1, max_value=CENTS_MAX)
    text = StrictCharField(required=False, allow_blank=True, max_length=200)
    payee = StrictCharField(required=False, allow_blank=True, max_length=120)
    category = serializers.ChoiceField(
        choices=ExpenseCategory.choices, required=False, allow_blank=True
    )


class CloseStandDaySerializer(serializers.Serializer):
    """A count as a sum, or by coins and notes; a difference needs a note."""

    counted_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )
    counted_pieces = CoinsField()
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


def _day(request, pk: int) -> StandDay:
    found = get_object_or_404(StandDay.objects.select_related("place"), pk=pk)
    if not own_places.is_own(person_of(request), found.place):
        raise PermissionDenied
    return found


class StandDaysApiView(ApiActView, ListApiView):
    filterset_class = filters.StandDayListFilters
    ordering_fields = ordered_by("id", "day", place="place__name")
    permission_required = SELL
    permission_to_read = SELL
    serializer_class = OpenStandDaySerializer
    row_serializer_class = StandDaySerializer
    queryset = StandDay.objects.all()

    @extend_schema(responses=StandDaySerializer(many=True))
    def get(self, request):
        """List the days of the places at which you may sell, the newest first."""
        return self.list(request)

    def get_queryset(self) -> QuerySet[StandDay]:
        return days_of(list(stand_queries.places(person_of(self.request))))

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: StandDaySerializer, **REFUSALS})
    def post(self, request):
        """Put a float into the drawer of a place and open its day."""
        key = self.key()
        made = stand_days.open_day(**self.checked(), opened_by=person_of(request), key=key)
        return Response(StandDaySerializer(made).data, status=status.HTTP_201_CREATED)


class StandDayApiView(RetrieveApiView):
    """One day of a stand."""

    permission_classes = [ViewPermission]
    permission_required = SELL
    serializer_class = StandDaySerializer
    queryset = StandDay.objects.all()

    def get_object(self) -> StandDay:
        return _day(self.request, self.kwargs["pk"])


class StandCashApiView(ApiActView):
    permission_required = SELL
    serializer_class = MoveStandCashSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: StandCashSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Put cash into the drawer of an open day, or take it out."""
        found = _day(request, pk)
        key = self.key()
        made = stand_days.move_cash(
            stand_day=found, **self.checked(), moved_by=person_of(request), key=key
        )
        return Response(StandCashSerializer(made).data, status=status.HTTP_201_CREATED)


class StandCashUndoApiView(ApiActView):
    permission_required = SELL
    serializer_class = ReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: StandCashSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Undo cash put in or taken out, while its day is open."""
        found = get_object_or_404(StandCash.objects.select_related("stand_day"), pk=pk)
        _day(request, found.stand_day_id)
        self.key()
        made = stand_days.undo_cash(
            stand_cash=found, **self.checked(), undone_by=person_of(request)
        )
        return Response(StandCashSerializer(made).data, status=status.HTTP_201_CREATED)


class StandDayCloseApiView(ApiActView):
    permission_required = SELL
    serializer_class = CloseStandDaySerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: StandDayCloseSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Count the drawer and close the day; what is over or short is posted."""
        found = _day(request, pk)
        key = self.key()
        made = stand_days.close(
            stand_day=found, **self.checked(), closed_by=person_of(request), key=key
        )
        return Response(StandDayCloseSerializer(made).data, status=status.HTTP_201_CREATED)


class StandDayCloseUndoApiView(ApiActView):
    permission_required = SELL
    serializer_class = ReasonSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: StandDayCloseSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Undo a close: its day is open again."""
        found = get_object_or_404(StandDayClose, pk=pk)
        _day(request, found.stand_day_id)
        if not found.may_be_undone_by(person_of(request)):
            raise PermissionDenied
        self.key()
        made = stand_days.undo_close(
            stand_day_close=found, **self.checked(), undone_by=person_of(request)
        )
        return Response(StandDayCloseSerializer(made).data, status=status.HTTP_201_CREATED)
