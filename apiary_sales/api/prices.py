"""Prices through the API: of pieces and cases, of drums, of a pound; and services on offer.

A price is never changed: a new one counts from its day on, and one of null ends the offer.
"""

from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.changed import ChangedAtField
from apiary_sales.api.fields import PiecesCountField
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.service_bills import ServiceSerializer
from apiary_sales.api.views import REFUSALS, ApiActView
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import (
    BulkPrice,
    PiecePrice,
    ProductTax,
    Service,
    TaxRate,
    WeightPrice,
)
from apiary_sales.pricing.queries import prices as queries
from apiary_sales.pricing.rules import price_changes
from apiary_sales.pricing.rules.price_changes import Ending
from apiary_sales.pricing.services import prices, service_list, taxes, weight_prices
from apiary_sales.pricing.services.prices import PricesWanted
from inventory.bottling.models import Product, Variety
from inventory.physics import grading

MANAGE_PRICES = "pricing.manage_prices"
# What is weighed has a price a pound.
BY_THE_PIECE = Product.objects.filter(item__is_weighed=False)


class PriceCentsField(StrictIntegerField):
    """A price in cents; null for none."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=CENTS_MAX, allow_null=True, **kwargs)


class PoundPriceField(StrictDecimalField):
    """A price of a pound, to a hundredth of a cent; null for none."""

    def __init__(self, **kwargs: Any) -> None:
        limits = {"max_digits": 9, "decimal_places": 4, "min_value": 0}
        super().__init__(**{"allow_null": True, **limits, **kwargs})


class PiecePriceSerializer(serializers.ModelSerializer):
    """What a piece and a case of a product cost in a tier, from a day on."""

    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField()

    class Meta:
        model = PiecePrice
        fields = [
            "id",
            "tier",
            "product",
            "product_id",
            "min_pieces",
            "piece_cents",
            "case_cents",
            "valid_from",
        ]


class TierPricesToSetSerializer(serializers.Serializer):
    """What a piece and a case are to cost in one tier; null for no price any more."""

    piece_cents = PriceCentsField()
    case_cents = PriceCentsField(required=False, default=None)

    def validate(self, attrs: dict[str, Any]) -> Any:
        return PricesWanted(**attrs)


class WantedPricesSerializer(serializers.Serializer):
    """The prices by tier; a tier that is left out stays as it is."""

    stand = TierPricesToSetSerializer(required=False)
    shop = TierPricesToSetSerializer(required=False)
    distributor = TierPricesToSetSerializer(required=False)
    bulk = TierPricesToSetSerializer(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not attrs:
            raise serializers.ValidationError(_("Send the prices of at least one tier."))
        return attrs


class ProductPricesToSetSerializer(serializers.Serializer):
    """What a product costs from a day on, tier by tier."""

    wanted = WantedPricesSerializer()
    valid_from = serializers.DateField()


class PriceBreakSerializer(serializers.Serializer):
    """What a piece costs in one tier from so many pieces on, from a day on."""

    tier = serializers.ChoiceField(Customer.Tier.choices)
    min_pieces = PiecesCountField(required=False)
    piece_cents = PriceCentsField()
    case_cents = PriceCentsField(required=False)
    valid_from = serializers.DateField()


class PriceChangeSerializer(serializers.Serializer):
    """All prices of some tiers, up or down by a percentage, from a day on.

    `seen` is the `fingerprint` of the table that was read before.
    """

    tiers = serializers.ListField(
        child=serializers.ChoiceField(Customer.Tier.choices),
        allow_empty=False,
        max_length=len(Customer.Tier),
    )
    percent = StrictDecimalField(max_digits=5, decimal_places=2)
    ending = serializers.ChoiceField(Ending.choices)
    valid_from = serializers.DateField()
    seen = StrictCharField(max_length=64)


class PriceChangeAskedSerializer(serializers.Serializer):
    """Which change to look at; figures of an address are text."""

    tiers = serializers.MultipleChoiceField(choices=Customer.Tier.choices, allow_empty=False)
    percent = serializers.DecimalField(max_digits=5, decimal_places=2)
    ending = serializers.ChoiceField(Ending.choices)
    valid_from = serializers.DateField()


class PriceBeforeAndAfterSerializer(serializers.Serializer):
    """One price before and after the change; a new price of null ends the offer."""

    tier = serializers.CharField()
    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField(source="product.pk")
    min_pieces = serializers.IntegerField()
    piece_cents = serializers.IntegerField()
    new_piece_cents = serializers.IntegerField(allow_null=True)
    case_cents = serializers.IntegerField(allow_null=True)
    new_case_cents = serializers.IntegerField(allow_null=True)


class PriceTableSerializer(serializers.Serializer):
    """What a change by a percentage makes of the prices, and the fingerprint to confirm it by."""

    fingerprint = serializers.CharField()
    changes = PriceBeforeAndAfterSerializer(many=True)


class BulkPriceSerializer(serializers.ModelSerializer):
    changed_at = ChangedAtField()

    class Meta:
        model = BulkPrice
        fields = [
            "id",
            "colour_class",
            "moisture_percent_max",
            "floral_source",
            "price_per_pound",
            "valid_from",
            "changed_at",
        ]


class BulkPriceToSetSerializer(serializers.Serializer):
    """The price of a pound in drums; an empty colour or source stands for any."""

    price_per_pound = PoundPriceField()
    colour_class = serializers.ChoiceField(grading.COLOUR_CLASSES, required=False, allow_blank=True)
    moisture_percent_max = StrictDecimalField(max_digits=4, decimal_places=2, required=False)
    floral_source = StrictCharField(required=False, allow_blank=True, max_length=120)
    valid_from = serializers.DateField()


class WeightPriceSerializer(serializers.ModelSerializer):
    """What a pound costs in a tier: of a product by weight, of a variety, or of any honey."""

    changed_at = ChangedAtField()
    product = serializers.CharField(source="product.code", default=None)
    product_id = serializers.IntegerField(allow_null=True)
    variety = serializers.CharField(source="variety.name", default=None)
    variety_id = serializers.IntegerField(allow_null=True)

    class Meta:
        model = WeightPrice
        fields = [
            "id",
            "tier",
            "product",
            "product_id",
            "variety",
            "variety_id",
            "price_per_pound",
            "valid_from",
            "changed_at",
        ]


class WeightPriceToSetSerializer(serializers.Serializer):
    """With a product it is the price of goods by weight, with a variety that of such honey."""

    tier = serializers.ChoiceField(Customer.Tier.choices)
    price_per_pound = PoundPriceField()
    product = CodeField(
        queryset=Product.objects.filter(item__is_weighed=True), required=False, allow_null=True
    )
    variety = CodeField("name", queryset=Variety.objects.all(), required=False, allow_null=True)
    valid_from = serializers.DateField()


class ProductTaxToSetSerializer(serializers.Serializer):
    """What a product is taxed as; empty for what is usual for its kind."""

    taxed_as = serializers.ChoiceField(TaxRate.Goods.choices, allow_blank=True)


class ProductTaxSerializer(serializers.Serializer):
    product = serializers.CharField()
    product_id = serializers.IntegerField()
    taxed_as = serializers.CharField(help_text="Empty for what is usual for its kind.")


class ServiceToChangeSerializer(serializers.Serializer):
    """A service on offer, with the price and the cost of one unit; null where not known."""

    name = StrictCharField(max_length=100)
    unit = serializers.ChoiceField(Service.Unit.choices)
    usual_price = StrictDecimalField(max_digits=12, decimal_places=4, min_value=0, allow_null=True)
    unit_cost = StrictDecimalField(max_digits=12, decimal_places=4, min_value=0, allow_null=True)
    taxed_as = serializers.ChoiceField(TaxRate.Goods.choices, allow_blank=True)
    is_active = serializers.BooleanField()


class ServiceToAddSerializer(serializers.Serializer):
    """A new service; its short name is made from the name unless it is given."""

    name = StrictCharField(max_length=100)
    unit = serializers.ChoiceField(Service.Unit.choices)
    usual_price = StrictDecimalField(
        max_digits=12, decimal_places=4, min_value=0, allow_null=True, required=False
    )
    unit_cost = StrictDecimalField(
        max_digits=12, decimal_places=4, min_value=0, allow_null=True, required=False
    )
    taxed_as = serializers.ChoiceField(TaxRate.Goods.choices, required=False, allow_blank=True)
    code = StrictCharField(required=False, allow_blank=True, max_length=40)


class PriceActView(ApiActView):
    permission_required = MANAGE_PRICES


class ProductPricesSetApiView(PriceActView):
    serializer_class = ProductPricesToSetSerializer

    @extend_schema(responses={201: PiecePriceSerializer(many=True), **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Set what a product costs from a day on; only what differs makes new prices."""
        product = get_object_or_404(BY_THE_PIECE, code=code)
        made = prices.set_product(product=product, **self.checked())
        return Response(PiecePriceSerializer(made, many=True).data, status=status.HTTP_201_CREATED)


class PriceBreakApiView(PriceActView):
    serializer_class = PriceBreakSerializer

    @extend_schema(responses={201: PiecePriceSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Set what a piece costs from so many pieces on; the same again stays one price."""
        product = get_object_or_404(BY_THE_PIECE, code=code)
        made = prices.set_piece(product=product, **self.checked())
        return Response(PiecePriceSerializer(made).data, status=status.HTTP_201_CREATED)


class PriceChangesApiView(PriceActView):
    serializer_class = PriceChangeSerializer

    @extend_schema(
        operation_id="price_changes_preview",
        parameters=[
            OpenApiParameter("tiers", OpenApiTypes.STR, many=True, required=True),
            OpenApiParameter("percent", OpenApiTypes.NUMBER, required=True),
            OpenApiParameter("ending", OpenApiTypes.STR, enum=Ending.values, required=True),
            OpenApiParameter("valid_from", OpenApiTypes.DATE, required=True),
        ],
        responses=PriceTableSerializer,
    )
    def get(self, request: Request) -> Response:
        """Show what a change by a percentage would make of the prices; nothing changes."""
        query: QueryDict = request.query_params
        asked = PriceChangeAskedSerializer(data=query)
        asked.is_valid(raise_exception=True)
        wanted = asked.validated_data
        lists = queries.price_lists(query.getlist("tiers"), wanted["valid_from"])
        table = price_changes.changes(lists, percent=wanted["percent"], ending=wanted["ending"])
        found = {"fingerprint": price_changes.fingerprint(table), "changes": table}
        return Response(PriceTableSerializer(found).data)

    @extend_schema(responses={201: PiecePriceSerializer(many=True), **REFUSALS})
    def post(self, request: Request) -> Response:
        """Change all prices of some tiers by a percentage, as they were seen."""
        made = prices.change_by_percent(**self.checked())
        return Response(PiecePriceSerializer(made, many=True).data, status=status.HTTP_201_CREATED)


class BulkPricesSetApiView(PriceActView):
    serializer_class = BulkPriceToSetSerializer

    @extend_schema(responses={201: BulkPriceSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Set the price of a pound in drums from a day on."""
        made = prices.set_bulk(**self.checked())
        return Response(BulkPriceSerializer(made).data, status=status.HTTP_201_CREATED)


class WeightPricesSetApiView(PriceActView):
    serializer_class = WeightPriceToSetSerializer

    @extend_schema(responses={201: WeightPriceSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Set what a pound costs in a tier from a day on; the same again stays one price."""
        made = weight_prices.set_price(**self.checked())
        return Response(WeightPriceSerializer(made).data, status=status.HTTP_201_CREATED)


class ProductTaxApiView(PriceActView):
    serializer_class = ProductTaxToSetSerializer

    @extend_schema(responses={200: ProductTaxSerializer, **REFUSALS})
    def put(self, request: Request, code: str) -> Response:
        """Tax a product as one kind of goods from now on."""
        product = get_object_or_404(Product, code=code)
        row: ProductTax | None = taxes.set_class(product=product, **self.checked())
        taxed_as = row.taxed_as if row else ""
        made = {"product": product.code, "product_id": product.pk, "taxed_as": taxed_as}
        return Response(ProductTaxSerializer(made).data)


class ServicesAddApiView(PriceActView):
    serializer_class = ServiceToAddSerializer

    @extend_schema(responses={201: ServiceSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add a service. Sent twice, the second is refused, because the name is taken."""
        made = service_list.add(**self.checked())
        return Response(ServiceSerializer(made).data, status=status.HTTP_201_CREATED)


class UsualServicesApiView(PriceActView):
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={201: ServiceSerializer(many=True), **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add the usual services that are not there yet; those that were added are the answer."""
        made = service_list.add_usual()
        return Response(ServiceSerializer(made, many=True).data, status=status.HTTP_201_CREATED)


class ServiceChangeApiView(PriceActView):
    serializer_class = ServiceToChangeSerializer

    @extend_schema(responses={200: ServiceSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Change a service, or take it out of use; orders keep their price."""
        service = get_object_or_404(Service, code=code)
        made = service_list.change(service=service, **self.checked())
        return Response(ServiceSerializer(made).data)
