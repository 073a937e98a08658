"""Costs through the API: of selling, of filling, and of a season's honey."""

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.exceptions import NotFound
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.fields import StrictModelSerializer, rows_of
from apiary_sales.api.price_lists import SeasonExpenseSerializer
from apiary_sales.api.prices import PriceActView
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    LotSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS
from apiary_sales.pricing.models import ChannelCost, FillingTime, SeasonExpense
from apiary_sales.pricing.services import channels, filling_times, seasons
from inventory.bottling.models import Product
from inventory.bottling.services import costs
from inventory.stock.models import Lot

ROWS_MAX = 500


class ChannelCostToSetSerializer(StrictModelSerializer):
    """What selling through one channel takes from the price."""

    class Meta:
        model = ChannelCost
        fields = ["discount_percent", "card_percent", "piece_cents", "per_pound"]
        extra_kwargs: ClassVar[dict[str, Any]] = {name: {"required": True} for name in fields}


class FillingTimeToSetSerializer(serializers.Serializer):
    """Minutes of work on one piece; null where nobody knows."""

    product = CodeField(queryset=Product.objects.filter(size__isnull=False))
    minutes = StrictDecimalField(max_digits=6, decimal_places=3, min_value=0, allow_null=True)


class FillingTimesSerializer(serializers.Serializer):
    """Minutes of work on one piece of each product that is named."""

    minutes = rows_of(FillingTimeToSetSerializer, allow_empty=False, max_length=ROWS_MAX)


class FillingTimeSerializer(serializers.ModelSerializer):
    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField()

    class Meta:
        model = FillingTime
        fields = ["product", "product_id", "minutes_each"]


class SeasonExpenseToAddSerializer(serializers.Serializer):
    """Money spent on a season's honey."""

    category = serializers.ChoiceField(SeasonExpense.Category.choices)
    amount_cents = StrictIntegerField(min_value=1, max_value=CENTS_MAX)
    note = StrictCharField(required=False, allow_blank=True, max_length=200)


class LotCostToSetSerializer(serializers.Serializer):
    """What all of a lot cost; null where nobody knows."""

    cost_cents = StrictIntegerField(min_value=0, max_value=CENTS_MAX, allow_null=True)


class CostedLotSerializer(LotSerializer):
    """A lot whose cost was worked out again."""

    class Meta(LotSerializer.Meta):
        fields = [*LotSerializer.Meta.fields, "cost_cents"]


class ChannelCostApiView(PriceActView):
    serializer_class = ChannelCostToSetSerializer

    @extend_schema(responses={200: ChannelCostToSetSerializer, **REFUSALS})
    def put(self, request: Request, channel: str) -> Response:
        """Set what one channel takes from the price: stand, shop, delivery, distributor, bulk."""
        if channel not in ChannelCost.Channel.values:
            raise NotFound
        made = channels.set_cost(channel=channel, **self.checked())
        return Response(ChannelCostToSetSerializer(made).data)


class FillingTimesApiView(PriceActView):
    serializer_class = FillingTimesSerializer

    def field_of(self, parameter: str | None) -> str | None:
        """The service names the product by its code, the body has its position."""
        name, _dot, code = (parameter or "").partition(".")
        if name != "minutes" or not code:
            return super().field_of(parameter)
        sent: Any = self.request.data
        codes = [row["product"] for row in sent["minutes"]]
        return f"minutes.{codes.index(code)}.minutes"

    @extend_schema(responses={200: FillingTimeSerializer(many=True), **REFUSALS})
    def put(self, request: Request) -> Response:
        """Set the minutes of work on one piece of some products; others keep theirs."""
        rows = self.checked()["minutes"]
        minutes = {row["product"]: row["minutes"] for row in rows}
        filling_times.set_minutes(minutes)
        kept = FillingTime.objects.filter(product__in=minutes).select_related("product")
        found = kept.order_by("product__code")
        return Response(FillingTimeSerializer(found, many=True).data)


class SeasonExpensesApiView(PriceActView):
    serializer_class = SeasonExpenseToAddSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: SeasonExpenseSerializer, **REFUSALS}
    )
    def post(self, request: Request, year: int) -> Response:
        """Add an expense of a season; lots keep their cost until the season is spread."""
        key = self.key()
        made = seasons.add_expense(season=year, **self.checked(), key=key)
        return Response(SeasonExpenseSerializer(made).data, status=status.HTTP_201_CREATED)


class SeasonExpenseRemoveApiView(PriceActView):
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={204: None, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Take an expense off its season."""
        seasons.remove_expense(get_object_or_404(SeasonExpense, pk=pk))
        return Response(status=status.HTTP_204_NO_CONTENT)


class SeasonSpreadApiView(PriceActView):
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: CostedLotSerializer(many=True), **REFUSALS})
    def post(self, request: Request, year: int) -> Response:
        """Spread a season's expenses over its extractions; the lots that changed are the answer."""
        made = seasons.spread(year)
        return Response(CostedLotSerializer(made, many=True).data)


class LotCostApiView(PriceActView):
    serializer_class = LotCostToSetSerializer

    @extend_schema(responses={200: CostedLotSerializer(many=True), **REFUSALS})
    def put(self, request: Request, code: str) -> Response:
        """Set what an extraction or purchase cost; the lots that changed are the answer."""
        with_cost = Lot.objects.filter(kind__in=costs.HAVE_A_COST, owner=None)
        lot = get_object_or_404(with_cost, code=code)
        made = costs.set_lot_cost(lot=lot, **self.checked())
        return Response(CostedLotSerializer(made, many=True).data)
