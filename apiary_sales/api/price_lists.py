"""Prices and costs through the API: lists in force, of products, drums and by weight, what selling
and honey cost, and drum or jar.
"""

from typing import Any, ClassVar

from django.http import Http404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters, seen
from apiary_sales.api.honey_in_hand import LotKeySerializer
from apiary_sales.api.prices import BulkPriceSerializer, WeightPriceSerializer
from apiary_sales.api.readings import (
    ON,
    DecimalFigureField,
    ReadingApiView,
    RowsApiView,
    day_asked,
    refuse_errors,
)
from apiary_sales.api.seen import SeenSerializer
from apiary_sales.customers.models import Customer
from apiary_sales.customers.permissions import VIEW_CUSTOMERS
from apiary_sales.pricing.models import (
    BulkPrice,
    ChannelCost,
    GoodsCategory,
    PiecePrice,
    ProductTax,
    SeasonExpense,
    TaxRate,
    WeightPrice,
)
from apiary_sales.pricing.permissions import VIEW_TRADE_PRICES, tiers_of
from apiary_sales.pricing.queries import costs, private_labels, seasons, weight_prices
from apiary_sales.pricing.queries import prices as read
from apiary_sales.pricing.rules import tax
from apiary_sales.pricing.rules.costs import Channel
from apiary_sales.pricing.rules.seasons import Season, SeasonSums
from apiary_sales.pricing.views.drum_or_jar import compared
from inventory.bottling.models import Product
from inventory.shared.models import House
from inventory.shared.people import person_of
from inventory.stock.models import ProductionSettings

MANAGE_PRICES = "pricing.manage_prices"

# ------------------------------------------------------------------ lists in force


class PieceBreakSerializer(serializers.ModelSerializer):
    """The price of one, and of a case, from so many pieces on; null ends a price."""

    class Meta:
        model = PiecePrice
        fields = ["id", "tier", "valid_from", "min_pieces", "piece_cents", "case_cents"]


class TierPricesSerializer(serializers.Serializer):
    """The prices of a product in one tier, and those that come into force later."""

    tier = serializers.ChoiceField(Customer.Tier.choices)
    breaks = PieceBreakSerializer(many=True)
    coming = PieceBreakSerializer(many=True)


class ProductPriceListSerializer(SeenSerializer):
    """A product with its prices in the tiers that are seen.

    `private_to` is the only customer it is sold to.
    """

    seen_with: ClassVar = dict.fromkeys(["private_to", "private_to_id"], VIEW_CUSTOMERS)

    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField(source="product.pk")
    name = serializers.CharField(source="product.name")
    private_to = serializers.CharField(source="private_to.name", default=None)
    private_to_id = serializers.IntegerField(source="private_to.pk", default=None)
    tiers = TierPricesSerializer(many=True)


class PriceListsSerializer(serializers.Serializer):
    """What a piece costs on a day, product by product."""

    on = serializers.DateField()
    products = ProductPriceListSerializer(many=True)


def _listed(lists: dict[str, Any], product: Product) -> dict[str, Any]:
    of_tiers = [(tier, listed.of(product)) for tier, listed in lists.items()]
    return {
        "product": product,
        "private_to": of_tiers[0][1].private_to,
        "tiers": [
            {"tier": tier, "breaks": each.breaks, "coming": each.coming} for tier, each in of_tiers
        ],
    }


class PriceListsApiView(ReadingApiView):
    @extend_schema(operation_id="prices", parameters=[ON], responses=PriceListsSerializer)
    def get(self, request: Request) -> Response:
        """The price lists in force on a day."""
        on = day_asked(request)
        lists = read.price_lists(tiers_of(person_of(request)), on)
        products = [each.product for each in next(iter(lists.values())).products]
        told = {"on": on, "products": [_listed(lists, product) for product in products]}
        return Response(PriceListsSerializer(told, context=seen.of(request)).data)


class PoundPriceSerializer(serializers.Serializer):
    """What a unit of weight costs in one tier; null where there is no price."""

    tier = serializers.CharField()
    price_per_pound = DecimalFigureField(4, allow_null=True)


class TaxTreatmentSerializer(serializers.Serializer):
    """How goods are taxed today."""

    category = serializers.ChoiceField(GoodsCategory.Category.choices)
    reason = serializers.CharField()
    tax_name = serializers.CharField(source="rate.name")
    tax_percent = DecimalFigureField(4, source="rate.percent")


class ProductPricesSerializer(ProductPriceListSerializer):
    """The same, with the tax and every price the product ever had, the newest first."""

    by_weight = PoundPriceSerializer(many=True)
    taxed_as = serializers.ChoiceField(TaxRate.Goods.choices)
    tax = TaxTreatmentSerializer()
    prices_include_tax = serializers.BooleanField()
    history = PieceBreakSerializer(many=True)


def _treatments() -> dict[str, tax.Treatment]:
    today = timezone.localdate()
    return tax.treatments(
        TaxRate.objects.in_force(today),
        GoodsCategory.objects.in_force(today),
        deposits_taxed=House.current().deposits_taxed,
    )


class ProductPricesApiView(ReadingApiView):
    @extend_schema(operation_id="product_prices", responses=ProductPricesSerializer)
    def get(self, request: Request, code: str) -> Response:
        """The prices and the tax of one product, today."""
        product = get_object_or_404(Product.objects.select_related("item"), code=code)
        on = timezone.localdate()
        tiers = tiers_of(person_of(request))
        lists = read.price_lists(tiers, on)
        taxed_as = tax.class_of(product, ProductTax.objects.by_product())
        in_force = {row for listed in lists.values() for row in listed.of(product).breaks}
        history = read.history(product, on=on, in_force=in_force, tiers=tiers)
        told = _listed(lists, product) | {
            "by_weight": [
                {"tier": str(label), "price_per_pound": price}
                for label, price in weight_prices.of_product(product, on, tiers)
            ],
            "taxed_as": taxed_as,
            "tax": _treatments()[taxed_as],
            "prices_include_tax": House.current().prices_include_tax,
            "history": [row for row, _state in history],
        }
        return Response(ProductPricesSerializer(told, context=seen.of(request)).data)


class TaxInForceSerializer(TaxTreatmentSerializer):
    goods = serializers.CharField()


class TaxesInForceApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(operation_id="taxes_in_force", responses=TaxInForceSerializer(many=True))
    def get(self, request: Request) -> Response:
        """How each kind of goods, and a deposit, is taxed today."""
        told = [
            {"goods": goods, "category": each.category, "reason": each.reason, "rate": each.rate}
            for goods, each in _treatments().items()
        ]
        return Response(TaxInForceSerializer(told, many=True).data)


class BulkPricesSerializer(serializers.Serializer):
    """The prices of honey in drums on a day, and those that come later."""

    on = serializers.DateField()
    in_force = BulkPriceSerializer(many=True)
    coming = BulkPriceSerializer(many=True)


class BulkPricesApiView(ReadingApiView):
    permission_required = VIEW_TRADE_PRICES

    @extend_schema(operation_id="bulk_prices", parameters=[ON], responses=BulkPricesSerializer)
    def get(self, request: Request) -> Response:
        """The prices of honey in drums on a day."""
        on = day_asked(request)
        told = {
            "on": on,
            "in_force": read.bulk_list(on).rows,
            "coming": BulkPrice.objects.filter(valid_from__gt=on).order_by("valid_from", "id"),
        }
        return Response(BulkPricesSerializer(told).data)


class BulkPriceHistoryApiView(RowsApiView):
    """Every price of honey in drums there ever was, the newest first."""

    permission_required = VIEW_TRADE_PRICES

    serializer_class = BulkPriceSerializer
    queryset = BulkPrice.objects.order_by("-valid_from", "-id")
    filterset_class = filters.BulkPriceListFilters
    ordering_fields = ["valid_from", "id", "changed_at"]
    ordering = ["-valid_from", "-id"]


class WeightPriceRowSerializer(serializers.Serializer):
    """What has a price by weight, and its price in every tier."""

    what = serializers.CharField()
    product = serializers.CharField(source="product.code", default=None)
    product_id = serializers.IntegerField(source="product.pk", default=None)
    variety_id = serializers.IntegerField(allow_null=True)
    prices = serializers.SerializerMethodField()

    @extend_schema_field(PoundPriceSerializer(many=True))
    def get_prices(self, row: weight_prices.WeightPriceRow) -> Any:
        told = [{"tier": tier, "price_per_pound": price} for tier, _label, price in row.prices]
        return PoundPriceSerializer(told, many=True).data


class WeightPricesSerializer(serializers.Serializer):
    on = serializers.DateField()
    in_force = WeightPriceRowSerializer(many=True)
    coming = WeightPriceSerializer(many=True)


class WeightPricesApiView(ReadingApiView):
    @extend_schema(operation_id="weight_prices", parameters=[ON], responses=WeightPricesSerializer)
    def get(self, request: Request) -> Response:
        """The prices by weight on a day."""
        on = day_asked(request)
        tiers = tiers_of(person_of(request))
        rows = WeightPrice.objects.select_related("product", "variety").filter(tier__in=tiers)
        told = {
            "on": on,
            "in_force": weight_prices.table(on, tiers),
            "coming": rows.filter(valid_from__gt=on).order_by("valid_from", "id"),
        }
        return Response(WeightPricesSerializer(told).data)


class WeightPriceHistoryApiView(RowsApiView):
    """Every price by weight there ever was, the newest first."""

    serializer_class = WeightPriceSerializer
    queryset = WeightPrice.objects.select_related("product", "variety").order_by(
        "-valid_from", "-id"
    )
    filterset_class = filters.WeightPriceListFilters
    ordering_fields = ["valid_from", "id", "changed_at"]
    ordering = ["-valid_from", "-id"]

    def filter_queryset(self, queryset: Any) -> Any:
        tiers = tiers_of(person_of(self.request))
        return super().filter_queryset(queryset.filter(tier__in=tiers))


class BrandSoldSerializer(serializers.Serializer):
    """A brand, its products, and the only customer it is sold to; null for everybody."""

    id = serializers.IntegerField(source="brand.pk")
    brand = serializers.CharField(source="brand.name")
    brand_id = serializers.IntegerField(source="brand.pk")
    customer = serializers.CharField(source="customer.name", default=None)
    customer_id = serializers.IntegerField(source="customer.pk", default=None)
    products = serializers.SerializerMethodField()

    def get_products(self, row: private_labels.BrandSold) -> list[str]:
        return [product.code for product in row.products]


class PrivateLabelsApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(operation_id="private_labels", responses=BrandSoldSerializer(many=True))
    def get(self, request: Request) -> Response:
        """Which brand is sold to whom."""
        return Response(BrandSoldSerializer(private_labels.brands(), many=True).data)


# ------------------------------------------------------------------ costs


class ChannelCostSerializer(serializers.ModelSerializer):
    """What selling in one channel takes; `per_pound` is of a unit of weight, in money."""

    class Meta:
        model = ChannelCost
        fields = ["channel", "discount_percent", "card_percent", "piece_cents", "per_pound"]


class FillSerializer(serializers.Serializer):
    """What filling a product takes, as its runs were; `minutes` is of one piece."""

    product = serializers.CharField()
    product_id = serializers.IntegerField()
    runs = serializers.IntegerField()
    net_grams = DecimalFigureField(2)
    over_grams = DecimalFigureField(2)
    loss_grams = DecimalFigureField(2)
    broken_percent = DecimalFigureField(4)
    drawn_grams = DecimalFigureField(2)
    minutes = DecimalFigureField(4, allow_null=True)


class SellingCostsSerializer(serializers.Serializer):
    labour_cents_per_hour = serializers.IntegerField()
    channels = ChannelCostSerializer(many=True)
    products = FillSerializer(many=True)


def _fill(product: Product, fill: Any) -> dict[str, Any]:
    return {
        "product": product.code,
        "product_id": product.pk,
        "runs": fill.runs,
        "net_grams": fill.net_grams,
        "over_grams": fill.over_grams,
        "loss_grams": fill.loss_grams,
        "broken_percent": fill.broken_share * 100,
        "drawn_grams": fill.drawn_grams,
        "minutes": fill.minutes,
    }


class SellingCostsApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(operation_id="selling_costs", responses=SellingCostsSerializer)
    def get(self, request: Request) -> Response:
        """What filling and selling take."""
        book = costs.book(timezone.localdate())
        told = {
            "labour_cents_per_hour": book.labour_cents_per_hour,
            "channels": [
                book.channels.get(channel.value) or ChannelCost(channel=channel.value)
                for channel in ChannelCost.Channel
            ],
            "products": [_fill(product, book.fill(product)) for product in book.products],
        }
        return Response(SellingCostsSerializer(told).data)


class SeasonCostSerializer(serializers.Serializer):
    """What a season's honey cost; `per_pound` by its expenses, `cost_per_pound` by its lots."""

    season = serializers.IntegerField()
    grams = serializers.IntegerField()
    expenses_cents = serializers.SerializerMethodField()
    per_pound = DecimalFigureField(4, allow_null=True)
    lots_cost_cents = serializers.IntegerField(source="cost_cents", allow_null=True)
    cost_per_pound = DecimalFigureField(4, allow_null=True)
    is_spread = serializers.BooleanField()

    def get_expenses_cents(self, row: Season | SeasonSums) -> int:
        return row.total_cents or 0


class SeasonCostsSerializer(serializers.Serializer):
    cost_method = serializers.ChoiceField(ProductionSettings.CostMethod.choices)
    seasons = SeasonCostSerializer(many=True)


class SeasonCostsApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(operation_id="season_costs", responses=SeasonCostsSerializer)
    def get(self, request: Request) -> Response:
        """What the honey of each season cost."""
        told = {
            "cost_method": ProductionSettings.current().cost_method,
            "seasons": seasons.all_seasons(),
        }
        return Response(SeasonCostsSerializer(told).data)


class SeasonExpenseSerializer(serializers.ModelSerializer):
    class Meta:
        model = SeasonExpense
        fields = ["id", "season", "category", "amount_cents", "note"]


class LotCostSerializer(serializers.Serializer):
    """What a lot costs now, and its share of the season's expenses."""

    lot = LotKeySerializer()
    grams = serializers.IntegerField(source="lot.quantity_made")
    cost_cents = serializers.IntegerField(source="lot.cost_cents", allow_null=True)
    share_cents = serializers.IntegerField()
    per_pound = DecimalFigureField(4, allow_null=True)
    is_spread = serializers.BooleanField()


class SeasonInFullSerializer(SeasonCostSerializer):
    """A season with its expenses, its extractions, and its comb."""

    expenses = SeasonExpenseSerializer(many=True)
    lots = LotCostSerializer(many=True)
    comb = serializers.SerializerMethodField()

    @extend_schema_field(LotKeySerializer(many=True))
    def get_comb(self, row: Any) -> Any:
        return LotKeySerializer(seasons.comb(row.season), many=True).data


class SeasonCostApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(operation_id="season_cost", responses=SeasonInFullSerializer)
    def get(self, request: Request, year: int) -> Response:
        """What the honey of one season cost."""
        return Response(SeasonInFullSerializer(seasons.season(year)).data)


# ------------------------------------------------------------------ drum or jar


class CostLineSerializer(serializers.Serializer):
    """One line of a figure, in money a piece or a unit of weight; null is not entered."""

    kind = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    how = serializers.CharField()
    each = DecimalFigureField(4, allow_null=True)


class NetBackSerializer(serializers.Serializer):
    """What one product brings back in one channel, beside the drum."""

    product = serializers.CharField(source="net_back.product.code")
    product_id = serializers.IntegerField(source="net_back.product.pk")
    channel = serializers.ChoiceField(Channel.choices, source="net_back.channel")
    price = DecimalFigureField(4, source="net_back.price")
    per_pound = DecimalFigureField(4, source="net_back.per_pound", allow_null=True)
    per_pound_cents = serializers.IntegerField(source="net_back.per_pound_cents", allow_null=True)
    difference_cents = serializers.IntegerField(allow_null=True)
    break_even_price = DecimalFigureField(2, source="break_even", allow_null=True)
    beats_the_drum = serializers.BooleanField()
    missing = serializers.ListField(source="net_back.missing", child=serializers.CharField())


class NetBackInFullSerializer(NetBackSerializer):
    lines = CostLineSerializer(source="net_back.lines", many=True)


class DrumNetBackSerializer(serializers.Serializer):
    price = DecimalFigureField(4)
    per_pound = DecimalFigureField(4)
    per_pound_cents = serializers.IntegerField()
    lines = CostLineSerializer(many=True)


class FilledCostSerializer(serializers.Serializer):
    """What one filled piece costs, line by line; null while a cost is not entered."""

    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField(source="product.pk")
    total = DecimalFigureField(4, allow_null=True)
    missing = serializers.ListField(child=serializers.CharField())
    lines = CostLineSerializer(many=True)


class DrumOrJarSerializer(serializers.Serializer):
    """What honey brings in jars and in drums; figures are of the house's unit of weight."""

    lot = serializers.CharField(source="lot.code", default=None)
    lot_id = serializers.IntegerField(source="lot.pk", default=None)
    moisture_percent = DecimalFigureField(2, source="moisture", allow_null=True)
    honey_per_pound = DecimalFigureField(4, source="honey.per_pound", allow_null=True)
    listed_price_per_pound = DecimalFigureField(4, source="listed.price_per_pound", default=None)
    drum = DrumNetBackSerializer(source="comparison.drum", allow_null=True)
    stop_price_per_pound = DecimalFigureField(2, source="comparison.stop_price", allow_null=True)
    better_than_drum = serializers.IntegerField(source="comparison.better_than_drum")
    jars = NetBackSerializer(source="comparison.rungs", many=True)
    filled_costs = FilledCostSerializer(source="comparison.costs", many=True)


TRIED = [
    OpenApiParameter("lot", str, description="A lot in hand; the first one when left out."),
    OpenApiParameter("moisture", OpenApiTypes.DECIMAL, description="Percent, to try."),
    OpenApiParameter("drum_price", OpenApiTypes.DECIMAL, description="A unit of weight, to try."),
    OpenApiParameter("labour", OpenApiTypes.DECIMAL, description="Money an hour, to try."),
    OpenApiParameter("overfill", OpenApiTypes.DECIMAL, description="Percent over the label."),
    OpenApiParameter("jar_percent", OpenApiTypes.DECIMAL, description="All jar prices by so much."),
    OpenApiParameter("jar", str, description="One jar, as `product:channel`."),
    OpenApiParameter("jar_price", OpenApiTypes.DECIMAL, description="Its price, to try."),
]


class DrumOrJarApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(operation_id="drum_or_jar", parameters=TRIED, responses=DrumOrJarSerializer)
    def get(self, request: Request) -> Response:
        """Compare what honey brings in every jar and channel with what it brings in a drum."""
        asked = compared(request.query_params, is_of_lot=True)
        refuse_errors(asked.form)
        return Response(DrumOrJarSerializer(asked).data)


class ProductMarginSerializer(serializers.Serializer):
    """The figures of one product with the lines they come from."""

    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField(source="product.pk")
    fill = FillSerializer()
    cost = FilledCostSerializer()
    jars = NetBackInFullSerializer(many=True)
    drum = DrumNetBackSerializer(allow_null=True)


class ProductMarginApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(
        operation_id="product_margin", parameters=TRIED, responses=ProductMarginSerializer
    )
    def get(self, request: Request, code: str) -> Response:
        """What one product costs and brings, line by line."""
        asked = compared(request.query_params, is_of_lot=False)
        refuse_errors(asked.form)
        product = next((each for each in asked.book.products if each.code == code), None)
        if product is None:
            raise Http404
        rungs = asked.comparison.rungs
        told = {
            "product": product,
            "fill": _fill(product, asked.book.fill(product)),
            "cost": asked.book.filled_cost(product, asked.honey),
            "jars": [rung for rung in rungs if rung.net_back.product == product],
            "drum": asked.comparison.drum,
        }
        return Response(ProductMarginSerializer(told).data)
