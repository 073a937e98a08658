"""What can be sold and what waits to be filled, through the API: stock, pick lists, late costs, and
a recall on paper.
"""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.late_costs import LateCostingSerializer
from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.readings import (
    ReadingApiView,
    RowApiView,
    RowsApiView,
)
from apiary_sales.api.serializers import CertificateSerializer, OrderSerializer, unit_of
from apiary_sales.api.views import BuyersPermission
from apiary_sales.customers import personal_queries
from apiary_sales.customers import queries as customer_queries
from apiary_sales.customers.models import Customer, ExemptionCertificate
from apiary_sales.orders import papers, recall_files
from apiary_sales.orders.late_cost_models import LateCost
from apiary_sales.orders.models import Order, Recall, Reservation
from apiary_sales.orders.queries import late_costs, orders, stock
from apiary_sales.orders.views.lists import LATELY
from inventory.bottling.models import BottlingRun, Product
from inventory.shared import documents

MANAGE_PRICES = "pricing.manage_prices"
MANAGE_CUSTOMERS = "customers.manage_customers"


class ForSaleSerializer(serializers.Serializer):
    """Stock for sale in `unit`. Days of cover are null without sales, or beyond a year."""

    on_hand = serializers.IntegerField(source="stock.on_hand")
    reserved = serializers.IntegerField(source="stock.reserved")
    free = serializers.IntegerField(source="stock.free")
    on_hold = serializers.IntegerField(source="stock.on_hold")
    on_consignment = serializers.IntegerField(source="stock.on_consignment")
    setting = serializers.IntegerField(source="stock.setting")
    ready_on = serializers.DateField(source="stock.ready_on", allow_null=True)
    wanted = serializers.IntegerField()
    coming = serializers.IntegerField()
    is_low = serializers.BooleanField(source="stock.is_low")
    sold_lately = serializers.IntegerField()
    days_of_cover = serializers.IntegerField(allow_null=True)
    days_by_season = serializers.IntegerField(source="season_days", allow_null=True)
    value_cents = serializers.IntegerField(source="stock.value_cents", allow_null=True)


class ProductForSaleSerializer(ForSaleSerializer):
    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField(source="product.pk")
    name = serializers.CharField(source="product.name")
    unit = serializers.SerializerMethodField()

    def get_unit(self, row: Any) -> str:
        return unit_of(row.item)


class SizeForSaleSerializer(ForSaleSerializer):
    """One size of honey, whatever its variety and label, with its products."""

    size = serializers.CharField(source="size.code")
    size_id = serializers.IntegerField(source="size.pk")
    name = serializers.CharField(source="size.name")
    products = ProductForSaleSerializer(many=True)


class StockForSaleSerializer(serializers.Serializer):
    """All that is for sale; `value_cents` is null while the cost of any is unknown."""

    value_cents = serializers.IntegerField(allow_null=True)
    known_cents = serializers.IntegerField()
    sizes = SizeForSaleSerializer(many=True)
    others = ProductForSaleSerializer(many=True)


class StockForSaleApiView(ReadingApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="stock_for_sale", responses=StockForSaleSerializer)
    def get(self, request: Request) -> Response:
        """What is for sale, what is promised, and how long it lasts."""
        return Response(StockForSaleSerializer(stock.everything()).data)


class LotForSaleSerializer(serializers.Serializer):
    """Pieces of one lot at one place."""

    lot = serializers.CharField(source="lot.code")
    lot_id = serializers.IntegerField(source="lot.pk")
    place = serializers.CharField(source="place.code")
    place_id = serializers.IntegerField(source="place.pk")
    on_hand = serializers.IntegerField()
    reserved = serializers.IntegerField()
    free = serializers.IntegerField()
    is_on_hold = serializers.BooleanField()
    best_by = serializers.DateField(source="lot.best_by", allow_null=True)


class ReservedForSerializer(serializers.ModelSerializer):
    """So much reserved for a line of an order, of one lot at one place."""

    order = serializers.CharField(source="line.order.number")
    order_id = serializers.IntegerField(source="line.order_id")
    customer = serializers.CharField(source="line.order.customer.name", default=None)
    customer_id = serializers.IntegerField(source="line.order.customer_id", allow_null=True)
    lot = serializers.CharField(source="balance.lot.code")
    lot_id = serializers.IntegerField(source="balance.lot_id")
    place = serializers.CharField(source="balance.place.code")
    place_id = serializers.IntegerField(source="balance.place_id")

    class Meta:
        model = Reservation
        fields = [
            "id",
            "order",
            "order_id",
            "customer",
            "customer_id",
            "lot",
            "lot_id",
            "place",
            "place_id",
            "quantity",
        ]


class PlannedRunSerializer(serializers.ModelSerializer):
    class Meta:
        model = BottlingRun
        fields = ["id", "number", "planned_for", "pieces_planned"]


class ProductForSaleInFullSerializer(serializers.Serializer):
    """A product with its lots, for whom it is reserved, and the runs that will bring more."""

    stock = ProductForSaleSerializer()
    lots = LotForSaleSerializer(source="stock.stock.rows", many=True)
    reserved_for = ReservedForSerializer(many=True)
    runs = PlannedRunSerializer(many=True)


class ProductForSaleApiView(ReadingApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="product_for_sale", responses=ProductForSaleInFullSerializer)
    def get(self, request: Request, code: str) -> Response:
        """What there is of one product, lot by lot."""
        product = get_object_or_404(Product.objects.select_related("item", "size"), code=code)
        told = {
            "stock": stock.of(product),
            "reserved_for": stock.reserved_for(product),
            "runs": stock.planned_runs(product),
        }
        return Response(ProductForSaleInFullSerializer(told).data)


# ------------------------------------------------------------------ orders


class OrderListedSerializer(serializers.Serializer):
    """An order in a few words; `missing` are lines whose reserved goods are gone."""

    id = serializers.IntegerField(source="order.pk")
    number = serializers.CharField(source="order.number")
    customer = serializers.CharField(source="order.customer.name", default=None)
    customer_id = serializers.IntegerField(source="order.customer_id", allow_null=True)
    status = serializers.ChoiceField(Order.Status.choices, source="order.status")
    placed_on = serializers.DateField(source="order.placed_on")
    wanted_on = serializers.DateField(source="order.wanted_on", allow_null=True)
    goods = serializers.CharField()
    total_cents = serializers.IntegerField()
    is_late = serializers.BooleanField()
    missing = serializers.SerializerMethodField()

    def get_missing(self, row: orders.OrderRow) -> list[int]:
        return [line.pk for line in row.missing]


class OrdersToDoSerializer(serializers.Serializer):
    """What waits to be filled, quotes to follow up, and what was filled lately."""

    to_fill = OrderListedSerializer(many=True)
    quotes = OrderListedSerializer(many=True)
    filled_lately = OrderListedSerializer(many=True)


class OrdersToDoApiView(ReadingApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="orders_to_do", responses=OrdersToDoSerializer)
    def get(self, request: Request) -> Response:
        """Which orders and quotes wait for something."""
        told = {
            "to_fill": orders.rows(orders.to_fill()),
            "quotes": orders.rows(orders.quotes_to_follow_up()),
            "filled_lately": orders.rows(orders.lately_filled()[:LATELY]),
        }
        return Response(OrdersToDoSerializer(told).data)


class PickRowSerializer(serializers.Serializer):
    """So much of a line, reserved in one lot at one place."""

    line = serializers.IntegerField(source="line.pk")
    description = serializers.CharField(source="line.description")
    lot = serializers.CharField(source="lot.code", default=None)
    lot_id = serializers.IntegerField(source="lot.pk", default=None)
    place = serializers.CharField(source="place.code")
    place_id = serializers.IntegerField(source="place.pk")
    quantity = serializers.IntegerField()
    gross_grams = serializers.IntegerField(
        allow_null=True, help_text="With its drum, of honey in a drum; else null."
    )


class PickListSerializer(serializers.Serializer):
    """What is reserved for an order and still to fill."""

    order = OrderSerializer()
    rows = PickRowSerializer(many=True)
    lines_to_draw = serializers.ListField(
        child=serializers.IntegerField(), help_text="Lines of honey that is drawn by weight."
    )


class PickListApiView(ReadingApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="pick_list", responses=PickListSerializer)
    def get(self, request: Request, number: str) -> Response:
        """What to take from where to fill an order."""
        order = get_object_or_404(orders.for_page(), number=number)
        context = papers.pick_list_context(order)
        shelves = [
            {**row, "place": place, "gross_grams": None}
            for place, rows in context["shelves"]
            for row in rows
        ]
        drums = [{**row, "place": row["line"].drum} for row in context["drums"]]
        told = {
            "order": order,
            "rows": [*shelves, *drums],
            "lines_to_draw": [line.pk for line, _lot in context["by_weight"]],
        }
        return Response(PickListSerializer(told).data)


class PickListPaperApiView(PaperApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="pick_list_paper", responses=PDF)
    def get(self, request: Request, number: str) -> HttpResponse:
        """The pick list of an order on paper."""
        order = get_object_or_404(orders.for_page(), number=number)
        content = documents.render_pdf("documents/pick_list.html", papers.pick_list_context(order))
        return documents.pdf_response(f"pick-list-{number}.pdf", content)


class LateCostSerializer(serializers.ModelSerializer):
    """A hand-over that was given a cost late."""

    order = serializers.CharField(source="fulfilment_line.fulfilment.order.number")
    order_id = serializers.IntegerField(source="fulfilment_line.fulfilment.order_id")
    description = serializers.CharField(source="fulfilment_line.order_line.description")
    lot = serializers.CharField(source="fulfilment_line.lot.code", default=None)
    lot_id = serializers.IntegerField(source="fulfilment_line.lot_id", allow_null=True)

    class Meta:
        model = LateCost
        fields = [
            "id",
            "fulfilment_line",
            "order",
            "order_id",
            "description",
            "lot",
            "lot_id",
            "cost_cents",
        ]


class LateCostingApiView(RowApiView):
    """One time that goods were given a cost late."""

    permission_required = MANAGE_PRICES
    serializer_class = LateCostingSerializer
    queryset = late_costs.costings()


class LateCostingLinesApiView(RowsApiView):
    """What one late costing gave a cost, in the order of hand-over."""

    permission_required = MANAGE_PRICES
    serializer_class = LateCostSerializer
    queryset = LateCost.objects.all()
    ordering_fields = ["id", "cost_cents"]
    ordering = ["id"]

    def get_queryset(self) -> QuerySet[LateCost]:
        if getattr(self, "swagger_fake_view", False):
            return LateCost.objects.none()
        costing = get_object_or_404(late_costs.costings(), pk=self.kwargs["pk"])
        return late_costs.lines_of(costing)


class RecallPaperApiView(PaperApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="recall_record_paper", responses=PDF)
    def get(self, request: Request, pk: int) -> HttpResponse:
        """A recall as it was started, and what was checked since, on paper."""
        found = Recall.objects.select_related("started_by", "finished_by")
        record = get_object_or_404(found.prefetch_related("lots"), pk=pk)
        return documents.pdf_response(f"recall-{pk}.pdf", recall_files.paper(record))


# ------------------------------------------------------------------ customers


class CertificateStateSerializer(serializers.Serializer):
    """A certificate as it counts today; `days_left` is null where it does not expire."""

    certificate = CertificateSerializer()
    state = serializers.CharField()
    is_valid = serializers.BooleanField()  # type: ignore[assignment]
    days_left = serializers.IntegerField(allow_null=True)


class CertificateApiView(ReadingApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="certificate", responses=CertificateStateSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """One certificate, and whether it counts today."""
        found = ExemptionCertificate.objects.select_related("customer", "accepted_by")
        state = customer_queries.state_of(get_object_or_404(found, pk=pk), timezone.localdate())
        return Response(CertificateStateSerializer(state).data)


class CertificateStatesApiView(ReadingApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(
        operation_id="certificates_by_expiry", responses=CertificateStateSerializer(many=True)
    )
    def get(self, request: Request) -> Response:
        """The certificates of all customers, those that expire next first."""
        found = customer_queries.certificates_of_all(timezone.localdate())
        return Response(CertificateStateSerializer(found, many=True).data)


class HeldDataSerializer(serializers.Serializer):
    """What is held of a customer in one kind of record; `stays` is why erasing leaves it."""

    title = serializers.CharField()
    rows = serializers.ListField(child=serializers.DictField(child=serializers.CharField()))
    stays = serializers.CharField()


class PersonalDataSerializer(serializers.Serializer):
    """All that is held of a customer; `erased_at` is null while it was not erased."""

    customer_id = serializers.IntegerField(source="customer.pk")
    erased_at = serializers.DateTimeField(source="erasure.erased_at", default=None)
    held = HeldDataSerializer(many=True)


class PersonalDataApiView(ReadingApiView):
    permission_required = MANAGE_CUSTOMERS

    @extend_schema(operation_id="personal_data", responses=PersonalDataSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """All that is held of a customer, and what of it stays when it is erased."""
        customer = get_object_or_404(Customer.objects.select_related("erasure"), pk=pk)
        told = {
            "customer": customer,
            "erasure": getattr(customer, "erasure", None),
            "held": personal_queries.held_of(customer),
        }
        return Response(PersonalDataSerializer(told).data)


class PersonalDataFileApiView(ReadingApiView):
    permission_required = MANAGE_CUSTOMERS

    @extend_schema(
        operation_id="personal_data_file",
        responses={(200, "application/zip"): OpenApiTypes.BINARY},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """The same as a file, as the customer may ask for it."""
        customer = get_object_or_404(Customer, pk=pk)
        content = personal_queries.file_of(customer)
        headers = {"Cache-Control": "private, no-store"}
        return HttpResponse(content, content_type="application/zip", headers=headers)
