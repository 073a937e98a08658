"""Market days and honesty boxes through the API."""

from typing import Any, ClassVar

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters, seen
from apiary_sales.api.answers import AnswerSerializer, IdsBeside, RowSerializer
from apiary_sales.api.bases import ApiView, ListApiView
from apiary_sales.api.fields import StoreCodeField, rows_of
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.money import ReasonSerializer
from apiary_sales.api.seen import VIEW_COSTS, SeenSerializer
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    StrictCharField,
    StrictIntegerField,
)
from apiary_sales.api.trade import OptionalTextField, pieces_rows
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.billing.models import (
    ExpenseCategory,
    HonestyBox,
    HonestyCount,
    MarketDay,
    PaidBy,
)
from apiary_sales.billing.queries import honesty_boxes as box_queries
from apiary_sales.billing.queries import market_days as market_queries
from apiary_sales.billing.services import honesty_boxes, market_days, market_unloading
from apiary_sales.billing.services.honesty_boxes import ShelfCounted
from apiary_sales.billing.services.market_days import LABOUR_MINUTES_MAX
from apiary_sales.billing.services.market_unloading import CameHome
from apiary_sales.orders.rules.lines import LINES_MAX
from inventory.bottling.models import Product
from inventory.shared.people import person_of
from inventory.stock.rules import PIECES_MAX

SELL = "orders.sell_at_stand"


class CountField(StrictIntegerField):
    """So many pieces, or none."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 0, "max_value": PIECES_MAX, **kwargs})


class CentsCountField(StrictIntegerField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 0, "max_value": CENTS_MAX, **kwargs})


# Market days


class MarketLineSerializer(AnswerSerializer):
    product = serializers.CharField(source="product.code")
    wanted = serializers.IntegerField()
    came_home = serializers.IntegerField(allow_null=True)
    sold_unentered = serializers.IntegerField()
    broken = serializers.IntegerField()
    samples = serializers.IntegerField()
    difference = serializers.IntegerField()


class MarketDaySerializer(IdsBeside, SeenSerializer):
    """A market day with its load list, and what it brought so far; amounts in cents.

    What the goods cost, and what was earned after that, is null for who may not see costs.
    """

    seen_with: ClassVar = dict.fromkeys(
        ["goods_cost_cents", "goods_cost_is_known", "earned_cents", "hourly_cents"], VIEW_COSTS
    )

    id = serializers.IntegerField(source="market_day.pk")
    market = serializers.CharField(source="market_day.market")
    day = serializers.DateField(source="market_day.day")
    place = serializers.CharField(source="market_day.place.code")
    source = serializers.CharField(source="market_day.source.code")  # type: ignore[assignment]
    opens_at = serializers.TimeField(source="market_day.opens_at")
    closes_at = serializers.TimeField(source="market_day.closes_at")
    is_loaded = serializers.BooleanField(source="market_day.is_loaded")
    is_unloaded = serializers.BooleanField(source="market_day.is_unloaded")
    is_closed = serializers.BooleanField(source="market_day.is_closed")
    is_cancelled = serializers.BooleanField(source="market_day.is_cancelled")
    labour_minutes = serializers.IntegerField(source="market_day.labour_minutes", allow_null=True)
    lines = MarketLineSerializer(source="market_day.lines", many=True)
    sales = serializers.IntegerField()
    sold_pieces = serializers.IntegerField()
    total_cents = serializers.IntegerField()
    net_cents = serializers.IntegerField()
    costs_cents = serializers.IntegerField()
    goods_cost_cents = serializers.IntegerField(allow_null=True)
    goods_cost_is_known = serializers.BooleanField(allow_null=True)
    earned_cents = serializers.IntegerField(allow_null=True)
    hourly_cents = serializers.IntegerField(allow_null=True)


class MarketPlanSerializer(serializers.Serializer):
    """Where, when and with whom; `source` is where the goods come from."""

    place = StoreCodeField()
    day = serializers.DateField()
    market = StrictCharField(max_length=80)
    opens_at = serializers.TimeField()
    closes_at = serializers.TimeField()
    source = StoreCodeField()  # type: ignore[assignment]
    people = OptionalTextField(max_length=200)
    note = OptionalTextField(max_length=300)


class MarketPlanMadeSerializer(MarketPlanSerializer):
    """A market day with its load list."""

    lines = pieces_rows()


class MarketGoodsSerializer(serializers.Serializer):
    """What is to be loaded, or is."""

    lines = pieces_rows()


class CameHomeSerializer(serializers.Serializer):
    """The pieces of a product that came home, and what became of the missing ones."""

    product = CodeField(queryset=Product.objects.select_related("item"))
    pieces = CountField()
    sold = CountField(default=0)
    broken = CountField(default=0)
    samples = CountField(default=0)

    def validate(self, attrs: dict[str, Any]) -> Any:
        return CameHome(**attrs)


class UnloadSerializer(serializers.Serializer):
    """All that was at the market, counted; without `target` it stays where it is."""

    lines = rows_of(CameHomeSerializer, allow_empty=False, max_length=LINES_MAX)
    target = StoreCodeField(required=False, allow_null=True)
    differences_are_right = serializers.BooleanField(default=False)
    surplus_reason = OptionalTextField(max_length=300)


class MarketCostSerializer(serializers.Serializer):
    """The fee of the stall or another cost, an expense of the house."""

    payee = StrictCharField(max_length=120)
    category = serializers.ChoiceField(
        choices=ExpenseCategory.choices, default=ExpenseCategory.SELLING
    )
    amount_cents = CentsCountField(min_value=1)
    tax_cents = CentsCountField(default=0)
    paid_by = serializers.ChoiceField(choices=PaidBy.choices)
    spent_on = serializers.DateField(required=False, allow_null=True)
    note = OptionalTextField(max_length=200)


class MarketCloseSerializer(serializers.Serializer):
    """How long all people together worked."""

    labour_minutes = StrictIntegerField(
        min_value=1, max_value=LABOUR_MINUTES_MAX, required=False, allow_null=True, default=None
    )
    note = OptionalTextField(max_length=300)


def _day_data(market_day: MarketDay, request: Request) -> Any:
    result = market_queries.result(market_day)
    return MarketDaySerializer(result, context=seen.of(request)).data


class MarketDaysApiView(ApiActView, ListApiView):
    permission_required = SELL
    serializer_class = MarketPlanMadeSerializer
    row_serializer_class = MarketDaySerializer
    filterset_class = filters.MarketDayListFilters
    ordering_fields = ordered_by("id", "day", "market")
    queryset = market_queries.market_days()

    @extend_schema(responses=MarketDaySerializer(many=True))
    def get(self, request: Request) -> Response:
        """All market days with what they brought, the latest first."""
        return self.list(request)

    def rows(self, page: list[MarketDay]) -> Any:
        return market_queries.results(page)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: MarketDaySerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Plan a market day with its load list."""
        key = self.key()
        made = market_days.plan(**self.checked(), planned_by=person_of(request), key=key)
        return Response(_day_data(made, request), status=status.HTTP_201_CREATED)


class MarketDayApiView(ApiView):
    permission_classes = [ViewPermission]
    permission_required = SELL

    @extend_schema(responses=MarketDaySerializer)
    def get(self, request: Request, pk: int) -> Response:
        """One market day with what it brought."""
        return Response(_day_data(get_object_or_404(MarketDay, pk=pk), request))


class MarketDayActApiView(ApiActView):
    """An act on one market day; the answer is the day as it is then."""

    permission_required = SELL

    def act(self, market_day: MarketDay, data: dict[str, Any], key: str) -> Any:
        raise NotImplementedError

    def answer(self, pk: int) -> Response:
        key = self.key()
        data = self.checked()
        market_day = get_object_or_404(MarketDay, pk=pk)
        self.act(market_day, data, key)
        return Response(_day_data(market_day, self.request), status=status.HTTP_201_CREATED)


MADE: Any = {"parameters": [IDEMPOTENCY_KEY], "responses": {201: MarketDaySerializer, **REFUSALS}}


class MarketChangeApiView(MarketDayActApiView):
    serializer_class = MarketPlanSerializer

    def act(self, market_day: MarketDay, data: dict[str, Any], key: str) -> Any:
        return market_days.change(market_day=market_day, **data)

    @extend_schema(**MADE)
    def post(self, request: Request, pk: int) -> Response:
        """Change where and when, while nothing is loaded."""
        return self.answer(pk)


class MarketGoodsApiView(MarketDayActApiView):
    serializer_class = MarketGoodsSerializer

    def act(self, market_day: MarketDay, data: dict[str, Any], key: str) -> Any:
        return market_days.set_load_list(market_day=market_day, **data)

    @extend_schema(**MADE)
    def post(self, request: Request, pk: int) -> Response:
        """Say what is to be loaded."""
        return self.answer(pk)


class MarketLoadApiView(MarketDayActApiView):
    serializer_class = MarketGoodsSerializer

    def act(self, market_day: MarketDay, data: dict[str, Any], key: str) -> Any:
        return market_days.load(
            market_day=market_day, **data, loaded_by=person_of(self.request), key=key
        )

    @extend_schema(**MADE)
    def post(self, request: Request, pk: int) -> Response:
        """Load what was brought to the van or stand, all at once."""
        return self.answer(pk)


class MarketUnloadApiView(MarketDayActApiView):
    serializer_class = UnloadSerializer

    def act(self, market_day: MarketDay, data: dict[str, Any], key: str) -> Any:
        return market_unloading.unload(
            market_day=market_day, **data, unloaded_by=person_of(self.request), key=key
        )

    @extend_schema(**MADE)
    def post(self, request: Request, pk: int) -> Response:
        """Enter what came home, all at once."""
        return self.answer(pk)


class MarketUnloadUndoApiView(MarketDayActApiView):
    serializer_class = ReasonSerializer

    def act(self, market_day: MarketDay, data: dict[str, Any], key: str) -> Any:
        return market_unloading.undo_unload(
            market_day=market_day, **data, undone_by=person_of(self.request), key=key
        )

    @extend_schema(**MADE)
    def post(self, request: Request, pk: int) -> Response:
        """Undo what was entered at unloading."""
        return self.answer(pk)


class MarketCostApiView(MarketDayActApiView):
    permission_required = "billing.manage_purchases"
    serializer_class = MarketCostSerializer

    def act(self, market_day: MarketDay, data: dict[str, Any], key: str) -> Any:
        return market_days.enter_cost(
            market_day=market_day, **data, entered_by=person_of(self.request), key=key
        )

    @extend_schema(**MADE)
    def post(self, request: Request, pk: int) -> Response:
        """Enter the fee of the stall or another cost."""
        return self.answer(pk)


class MarketCloseApiView(MarketDayActApiView):
    serializer_class = MarketCloseSerializer

    def act(self, market_day: MarketDay, data: dict[str, Any], key: str) -> Any:
        return market_days.close(market_day=market_day, **data)

    @extend_schema(**MADE)
    def post(self, request: Request, pk: int) -> Response:
        """Say how long people worked, and close the day."""
        return self.answer(pk)


class MarketBareActApiView(ApiActView):
    """An act that is told nothing but its address."""

    permission_required = SELL
    serializer_class = serializers.Serializer

    def act(self, market_day: MarketDay, key: str) -> Any:
        raise NotImplementedError

    def answer(self, pk: int) -> Response:
        market_day = get_object_or_404(MarketDay, pk=pk)
        self.act(market_day, self.key())
        return Response(_day_data(market_day, self.request), status=status.HTTP_201_CREATED)


class MarketLoadUndoApiView(MarketBareActApiView):
    def act(self, market_day: MarketDay, key: str) -> Any:
        return market_days.undo_load(
            market_day=market_day, undone_by=person_of(self.request), key=key
        )

    @extend_schema(request=None, **MADE)
    def post(self, request: Request, pk: int) -> Response:
        """Undo the loading."""
        return self.answer(pk)


class MarketCancelApiView(MarketBareActApiView):
    def act(self, market_day: MarketDay, key: str) -> Any:
        return market_days.cancel(market_day=market_day)

    @extend_schema(request=None, **MADE)
    def post(self, request: Request, pk: int) -> Response:
        """Cancel a market day that is not loaded."""
        return self.answer(pk)


# Honesty boxes


class HonestyLineSerializer(AnswerSerializer):
    product = serializers.CharField(source="product.code")
    in_books = serializers.IntegerField()
    counted = serializers.IntegerField()
    sold = serializers.IntegerField()
    surplus = serializers.IntegerField()
    unit_price = serializers.DecimalField(max_digits=12, decimal_places=4, allow_null=True)
    price_before = serializers.DecimalField(max_digits=12, decimal_places=4, allow_null=True)


class HonestyCountSerializer(RowSerializer):
    """A count of a box: what was sold, what was to pay, and the cash that was there."""

    box = serializers.IntegerField(source="box_id")
    receipt = serializers.CharField(source="sale.receipt", default=None)
    receipt_id = serializers.IntegerField(source="sale.receipt_id", default=None)
    lines = HonestyLineSerializer(many=True)

    class Meta:
        model = HonestyCount
        fields = [
            "id",
            "box",
            "counted_at",
            "is_first",
            "cash_cents",
            "expected_cents",
            "short_cents",
            "on_top_cents",
            "receipt",
            "receipt_id",
            "note",
            "is_undone",
            "lines",
        ]


class HonestyBoxSerializer(AnswerSerializer):
    """A box with its sums so far."""

    id = serializers.IntegerField(source="box.pk")
    place = serializers.CharField(source="box.place.code")
    is_active = serializers.BooleanField(source="box.is_active")
    note = serializers.CharField(source="box.note")
    expected_cents = serializers.IntegerField()
    cash_cents = serializers.IntegerField()
    short_cents = serializers.IntegerField()
    on_top_cents = serializers.IntegerField()
    short_percent = serializers.DecimalField(max_digits=5, decimal_places=1, allow_null=True)


class HonestyBoxSetUpSerializer(serializers.Serializer):
    """An honesty box: goods at a stand or van without a seller, and a box for the money."""

    place = StoreCodeField()
    note = OptionalTextField(max_length=300)


class ShelfCountedSerializer(serializers.Serializer):
    product = CodeField(queryset=Product.objects.select_related("item"))
    counted = CountField()

    def validate(self, attrs: dict[str, Any]) -> Any:
        return ShelfCounted(**attrs)


class HonestyCountMadeSerializer(serializers.Serializer):
    """All that is on the shelf, and the cash that was in the box."""

    lines = rows_of(ShelfCountedSerializer, max_length=LINES_MAX)
    cash_cents = CentsCountField()
    counted_on = serializers.DateField(required=False, allow_null=True)
    note = OptionalTextField(max_length=300)
    surplus_reason = OptionalTextField(max_length=300)


def _box_data(box: HonestyBox) -> Any:
    return HonestyBoxSerializer(box_queries.history(box)).data


class HonestyBoxesApiView(ApiActView, ListApiView):
    permission_required = SELL
    serializer_class = HonestyBoxSetUpSerializer
    row_serializer_class = HonestyBoxSerializer
    filterset_class = filters.HonestyBoxListFilters
    ordering_fields = ordered_by("id", place="place__name")
    queryset = box_queries.boxes()

    @extend_schema(responses=HonestyBoxSerializer(many=True))
    def get(self, request: Request) -> Response:
        """All honesty boxes with their sums so far."""
        return self.list(request)

    def rows(self, page: list[HonestyBox]) -> Any:
        return box_queries.histories(page)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: HonestyBoxSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Set up a honesty box."""
        key = self.key()
        made = honesty_boxes.set_up(**self.checked(), set_up_by=person_of(request), key=key)
        return Response(_box_data(made), status=status.HTTP_201_CREATED)


class HonestyBoxPutAwayApiView(ApiActView):
    permission_required = SELL
    serializer_class = serializers.Serializer

    @extend_schema(
        request=None,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: HonestyBoxSerializer, **REFUSALS},
    )
    def post(self, request: Request, pk: int) -> Response:
        """Put a box away; its counts stay."""
        self.key()
        made = honesty_boxes.put_away(box=get_object_or_404(HonestyBox, pk=pk))
        return Response(_box_data(made), status=status.HTTP_201_CREATED)


class HonestyCountsApiView(ApiActView, ListApiView):
    permission_required = SELL
    serializer_class = HonestyCountMadeSerializer
    row_serializer_class = HonestyCountSerializer
    filterset_class = filters.HonestyCountListFilters
    ordering_fields = ordered_by("id", "counted_at")
    queryset = HonestyCount.objects.none()

    @extend_schema(responses=HonestyCountSerializer(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """The counts of a box, the latest first."""
        return self.list(request)

    def get_queryset(self) -> QuerySet[HonestyCount]:
        return box_queries.counts().filter(box=get_object_or_404(HonestyBox, pk=self.kwargs["pk"]))

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: HonestyCountSerializer, **REFUSALS}
    )
    def post(self, request: Request, pk: int) -> Response:
        """Count box and shelf: what is missing is sold."""
        key = self.key()
        box = get_object_or_404(HonestyBox, pk=pk)
        made = honesty_boxes.count(
            box=box, **self.checked(), counted_by=person_of(request), key=key
        )
        return Response(HonestyCountSerializer(made).data, status=status.HTTP_201_CREATED)


class HonestyCountUndoApiView(ApiActView):
    permission_required = SELL
    serializer_class = ReasonSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: HonestyCountSerializer, **REFUSALS}
    )
    def post(self, request: Request, pk: int) -> Response:
        """Undo the last count of a box."""
        key = self.key()
        made = honesty_boxes.undo(
            count=get_object_or_404(HonestyCount, pk=pk),
            **self.checked(),
            undone_by=person_of(request),
            key=key,
        )
        return Response(HonestyCountSerializer(made).data, status=status.HTTP_201_CREATED)
