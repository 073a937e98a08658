"""Consignment, contracts, standing orders and delivery rounds through the API."""

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import AnswerSerializer, RowSerializer
from apiary_sales.api.bases import ApiView, ListApiView
from apiary_sales.api.fields import (
    GramsCountField,
    IdField,
    PiecesCountField,
    StoreCodeField,
    VesselCodeField,
    rows_of,
)
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.serializers import (
    CodeField,
    InvoiceSerializer,
    OrderSerializer,
    StrictCharField,
    StrictDecimalField,
)
from apiary_sales.api.views import (
    IDEMPOTENCY_KEY,
    REFUSALS,
    ApiActView,
    BuyersPermission,
    ViewPermission,
)
from apiary_sales.billing.services import consignment_reports
from apiary_sales.customers.models import Customer
from apiary_sales.orders import trade_papers
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import consignments as shelf_queries
from apiary_sales.orders.queries import contracts as contract_queries
from apiary_sales.orders.queries import rounds as round_queries
from apiary_sales.orders.queries import standing_orders as standing_queries
from apiary_sales.orders.rules.contracts import PriceStep
from apiary_sales.orders.rules.lines import LINES_MAX, LineWanted
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import consignments, contracts, rounds, standing_orders
from apiary_sales.orders.services.contracts import STEPS_MAX
from apiary_sales.orders.services.rounds import STOPS_MAX
from apiary_sales.orders.services.standing_orders import DueOrder
from apiary_sales.orders.trade_models import (
    ConsignmentDelivery,
    ConsignmentPrice,
    ConsignmentShelf,
    Contract,
    DeliveryRound,
    RoundStop,
    StandingOrder,
)
from inventory.bottling.models import Product
from inventory.physics.grading import COLOUR_CLASSES
from inventory.shared import documents
from inventory.shared.people import person_of
from inventory.stock.models import Lot

SEES = "orders.take_orders"
FULFILS = "orders.fulfil_orders"
# More drums than anybody calls off at once.
DRUMS_MAX = 200


def priced(**kwargs: Any) -> StrictDecimalField:
    return StrictDecimalField(max_digits=12, decimal_places=4, min_value=0, **kwargs)


class OptionalTextField(StrictCharField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"required": False, "allow_blank": True, **kwargs})


class OptionalDayField(serializers.DateField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"required": False, "allow_null": True, **kwargs})


class ProductPiecesSerializer(serializers.Serializer):
    """So many pieces of one product."""

    product = CodeField(queryset=Product.objects.select_related("item", "brand"))
    pieces = PiecesCountField()

    def validate(self, attrs: dict[str, Any]) -> Any:
        return PiecesWanted(**attrs)


def pieces_rows() -> Any:
    return rows_of(ProductPiecesSerializer, allow_empty=False, max_length=LINES_MAX)


# Consignment


class ShelfLotSerializer(AnswerSerializer):
    lot = serializers.CharField(source="lot.code")
    lot_id = serializers.IntegerField(source="lot.pk")
    product = serializers.CharField(source="product.code")
    pieces = serializers.IntegerField()
    since = serializers.DateField()
    unit_price = serializers.DecimalField(max_digits=12, decimal_places=4, allow_null=True)


class ConsignmentShelfSerializer(AnswerSerializer):
    """A shop's shelf, and what of ours is on it by lot and since when."""

    id = serializers.IntegerField(source="shelf.pk")
    code = serializers.CharField(source="shelf.place.code")
    name = serializers.CharField(source="shelf.place.name")
    customer = serializers.CharField(source="shelf.customer.name")
    lots = ShelfLotSerializer(source="rows", many=True)


class ConsignmentShelfSetUpSerializer(serializers.Serializer):
    """A shelf for jars on consignment at a customer's."""

    customer = IdField(queryset=Customer.objects.all())
    name = OptionalTextField(max_length=80)


class ConsignmentPriceSerializer(serializers.Serializer):
    """What the shop pays for a piece that it sold, from a day on: today, unless another."""

    product = CodeField(queryset=Product.objects.select_related("item"))
    unit_price = priced()
    valid_from = OptionalDayField()


class ConsignmentPriceMadeSerializer(RowSerializer):
    product = serializers.CharField(source="product.code")

    class Meta:
        model = ConsignmentPrice
        fields = ["id", "product", "unit_price", "valid_from"]


class ConsignmentPlanSerializer(serializers.Serializer):
    """Jars that are to be carried to the shelf."""

    lines = pieces_rows()
    planned_on = OptionalDayField()
    note = OptionalTextField(max_length=300)


class DeliveredSerializer(serializers.Serializer):
    """That goods were delivered: today, or on an earlier day."""

    delivered_on = OptionalDayField()


class DeliveryLineSerializer(AnswerSerializer):
    product = serializers.CharField(source="product.code")
    pieces = serializers.IntegerField()


class ConsignmentDeliverySerializer(RowSerializer):
    shelf = serializers.CharField(source="shelf.place.code")
    shelf_id = serializers.IntegerField(source="shelf.pk")
    customer = serializers.CharField(source="shelf.customer.name")
    lines = DeliveryLineSerializer(many=True)

    class Meta:
        model = ConsignmentDelivery
        fields = [
            "id",
            "number",
            "shelf",
            "shelf_id",
            "customer",
            "status",
            "planned_on",
            "delivered_on",
            "note",
            "lines",
        ]


class PiecesOfLotSerializer(serializers.Serializer):
    """So many pieces of one lot, by its key."""

    lot = IdField(
        queryset=Lot.objects.filter(product__isnull=False).select_related("product__item")
    )
    pieces = PiecesCountField()

    def validate(self, attrs: dict[str, Any]) -> Any:
        return attrs["lot"], attrs["pieces"]


class BringBackSerializer(serializers.Serializer):
    """Jars that come back from the shelf of a shop to a store."""

    lots = rows_of(PiecesOfLotSerializer, allow_empty=False, max_length=LINES_MAX)
    target = StoreCodeField()
    brought_on = OptionalDayField()
    note = OptionalTextField(max_length=300)


class ConsignmentReportSerializer(serializers.Serializer):
    """What a shop reports it sold over some days."""

    lines = pieces_rows()
    sold_from = serializers.DateField()
    sold_until = serializers.DateField()
    reference = OptionalTextField(max_length=60)


def shelf_of(code: str) -> ConsignmentShelf:
    return get_object_or_404(shelf_queries.shelves(), place__code=code)


def delivery_of(number: str) -> ConsignmentDelivery:
    return get_object_or_404(shelf_queries.deliveries(), number=number)


def _shelf_data(shelf: ConsignmentShelf) -> Any:
    [contents] = shelf_queries.contents([shelf])
    return ConsignmentShelfSerializer(contents).data


class ConsignmentShelvesApiView(ApiActView, ListApiView):
    permission_classes = [BuyersPermission]
    permission_required = SEES
    serializer_class = ConsignmentShelfSetUpSerializer
    row_serializer_class = ConsignmentShelfSerializer
    filterset_class = filters.ConsignmentShelfListFilters
    ordering_fields = ordered_by("id", code="place__code", customer="customer__name")
    queryset = shelf_queries.shelves()

    @extend_schema(responses=ConsignmentShelfSerializer(many=True))
    def get(self, request: Request) -> Response:
        """The shelves of shops with what of ours is on them."""
        return self.list(request)

    def rows(self, page: list[ConsignmentShelf]) -> Any:
        return shelf_queries.contents(page)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: ConsignmentShelfSerializer, **REFUSALS}
    )
    def post(self, request: Request) -> Response:
        """Set up a shelf for jars on consignment."""
        key = self.key()
        made = consignments.set_up(**self.checked(), key=key)
        return Response(_shelf_data(made), status=status.HTTP_201_CREATED)


class TradeApiView(ApiView):
    """One thing to read."""

    permission_classes = [ViewPermission]


class ConsignmentShelfApiView(TradeApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(responses={200: ConsignmentShelfSerializer})
    def get(self, request: Request, code: str) -> Response:
        """A shop's shelf with what of ours is on it."""
        return Response(_shelf_data(shelf_of(code)))


class ConsignmentDeliveryListApiView(ListApiView):
    """The deliveries to shops, newest first."""

    permission_classes = [BuyersPermission]
    filterset_class = filters.ConsignmentDeliveryListFilters
    ordering_fields = ordered_by("id", "number", "planned_on")
    serializer_class = ConsignmentDeliverySerializer
    queryset = shelf_queries.deliveries()


class ConsignmentDeliveryApiView(TradeApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(responses={200: ConsignmentDeliverySerializer})
    def get(self, request: Request, number: str) -> Response:
        """A delivery to a shop."""
        return Response(ConsignmentDeliverySerializer(delivery_of(number)).data)


class ConsignmentPricesApiView(ApiActView):
    permission_required = SEES
    serializer_class = ConsignmentPriceSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: ConsignmentPriceMadeSerializer, **REFUSALS}
    )
    def post(self, request: Request, code: str) -> Response:
        """Agree what the shop pays for a piece that it sold."""
        shelf = shelf_of(code)
        # The same price again is the same price: no key is kept.
        self.key()
        made = consignments.agree_price(shelf=shelf, **self.checked())
        return Response(ConsignmentPriceMadeSerializer(made).data, status=status.HTTP_201_CREATED)


class ConsignmentDeliveriesApiView(ApiActView):
    permission_required = FULFILS
    serializer_class = ConsignmentPlanSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: ConsignmentDeliverySerializer, **REFUSALS}
    )
    def post(self, request: Request, code: str) -> Response:
        """Plan a delivery to the shelf; nothing moves before it is delivered."""
        shelf, key = shelf_of(code), self.key()
        made = consignments.plan(
            shelf=shelf, **self.checked(), created_by=person_of(request), key=key
        )
        return Response(ConsignmentDeliverySerializer(made).data, status=status.HTTP_201_CREATED)


class ConsignmentDeliverNowSerializer(serializers.Serializer):
    """What is on the shelf of the shop already: brought today, or on an earlier day."""

    lines = pieces_rows()
    delivered_on = OptionalDayField()
    note = OptionalTextField(max_length=300)


class ConsignmentDeliverNowApiView(ApiActView):
    permission_required = FULFILS
    serializer_class = ConsignmentDeliverNowSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: ConsignmentDeliverySerializer, **REFUSALS}
    )
    def post(self, request: Request, code: str) -> Response:
        """Plan a delivery and carry it to the shelf in one act."""
        shelf, key = shelf_of(code), self.key()
        made = consignments.deliver_now(
            shelf=shelf, **self.checked(), delivered_by=person_of(request), key=key
        )
        return Response(ConsignmentDeliverySerializer(made).data, status=status.HTTP_201_CREATED)


class ConsignmentDeliverApiView(ApiActView):
    permission_required = FULFILS
    serializer_class = DeliveredSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={200: ConsignmentDeliverySerializer, **REFUSALS}
    )
    def post(self, request: Request, number: str) -> Response:
        """Carry what was planned to the shelf of the shop."""
        delivery, key = delivery_of(number), self.key()
        made = consignments.deliver(
            delivery=delivery, **self.checked(), delivered_by=person_of(request), key=key
        )
        return Response(ConsignmentDeliverySerializer(made).data)


class ConsignmentCancelApiView(ApiActView):
    permission_required = FULFILS
    serializer_class = serializers.Serializer

    @extend_schema(request=None, responses={200: ConsignmentDeliverySerializer, **REFUSALS})
    def post(self, request: Request, number: str) -> Response:
        """Cancel a delivery that is only planned."""
        made = consignments.cancel(delivery=delivery_of(number))
        return Response(ConsignmentDeliverySerializer(made).data)


class ConsignmentPaperApiView(PaperApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="consignment_delivery_paper", responses=PDF)
    def get(self, request: Request, number: str) -> Any:
        """The delivery paper of a consignment delivery."""
        content = trade_papers.consignment_delivery(delivery_of(number))
        return documents.pdf_response(f"delivery-{number}.pdf", content)


class ConsignmentBringBackApiView(ApiActView):
    permission_required = FULFILS
    serializer_class = BringBackSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: ConsignmentShelfSerializer, **REFUSALS}
    )
    def post(self, request: Request, code: str) -> Response:
        """Bring jars back from the shelf of the shop."""
        shelf, key = shelf_of(code), self.key()
        consignments.bring_back(
            shelf=shelf, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(_shelf_data(shelf), status=status.HTTP_201_CREATED)


class ConsignmentReportsApiView(ApiActView):
    permission_required = "billing.issue_invoices"
    serializer_class = ConsignmentReportSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Enter what the shop reports it sold, and invoice it at the agreed prices."""
        shelf, key = shelf_of(code), self.key()
        made = consignment_reports.enter(
            shelf=shelf, **self.checked(), entered_by=person_of(request), key=key
        )
        return Response(InvoiceSerializer(made.invoice).data, status=status.HTTP_201_CREATED)


# Contracts


class PriceStepSerializer(serializers.Serializer):
    """The price of a unit of weight of the house in a call-off of so many grams or more."""

    from_grams = GramsCountField(min_value=0)
    unit_price = priced()

    def validate(self, attrs: dict[str, Any]) -> Any:
        return PriceStep(**attrs)


class ContractAgreeSerializer(serializers.Serializer):
    """Honey in drums that a buyer takes over a time."""

    customer = IdField(queryset=Customer.objects.all())
    min_grams = GramsCountField(min_value=0, required=False)
    max_grams = GramsCountField()
    price_steps = rows_of(PriceStepSerializer, allow_empty=False, max_length=STEPS_MAX)
    starts_on = serializers.DateField()
    ends_on = serializers.DateField()
    colour_class = serializers.ChoiceField(choices=COLOUR_CLASSES, required=False, allow_blank=True)
    moisture_percent_max = StrictDecimalField(
        max_digits=4, decimal_places=2, required=False, allow_null=True
    )
    floral_source = OptionalTextField(max_length=120)
    customer_reference = OptionalTextField(max_length=60)
    note = OptionalTextField(max_length=300)


class PriceStepMadeSerializer(serializers.Serializer):
    from_grams = serializers.IntegerField()
    unit_price = serializers.DecimalField(max_digits=12, decimal_places=4)


class ContractSerializer(AnswerSerializer):
    """A contract with what is handed over, called off and left of it, in grams."""

    id = serializers.IntegerField(source="contract.pk")
    number = serializers.CharField(source="contract.number")
    customer = serializers.CharField(source="contract.customer.name")
    customer_reference = serializers.CharField(source="contract.customer_reference")
    min_grams = serializers.IntegerField(source="contract.min_grams")
    max_grams = serializers.IntegerField(source="contract.max_grams")
    colour_class = serializers.CharField(source="contract.colour_class")
    moisture_percent_max = serializers.DecimalField(
        source="contract.moisture_percent_max", max_digits=4, decimal_places=2, allow_null=True
    )
    floral_source = serializers.CharField(source="contract.floral_source")
    starts_on = serializers.DateField(source="contract.starts_on")
    ends_on = serializers.DateField(source="contract.ends_on")
    price_steps = PriceStepMadeSerializer(source="contract.price_steps", many=True)
    handed_over_grams = serializers.IntegerField(source="handed_over")
    called_off_grams = serializers.IntegerField(source="called_off")
    remaining_grams = serializers.IntegerField(source="remaining")


class ContractEndSerializer(serializers.Serializer):
    """The last day of a contract."""

    ends_on = serializers.DateField()


class SampleSerializer(serializers.Serializer):
    """A sample of a lot that the buyer approved."""

    lot = IdField(queryset=Lot.objects.all())
    approved_on = serializers.DateField()
    approved_by = StrictCharField(max_length=120)
    note = OptionalTextField(max_length=300)


class ChargeSerializer(serializers.Serializer):
    """A drum deposit, drums sold, or freight: so many at a price each."""

    kind = serializers.ChoiceField(
        choices=[
            OrderLine.Kind.DRUM_DEPOSIT.value,
            OrderLine.Kind.DRUM_SALE.value,
            OrderLine.Kind.FREIGHT.value,
        ]
    )
    quantity = PiecesCountField()
    unit_price = priced()

    def validate(self, attrs: dict[str, Any]) -> Any:
        return LineWanted(**attrs)


class CallOffSerializer(serializers.Serializer):
    """Drums that are called off; the fields `…_is_right` accept what a refusal warned of."""

    drums = serializers.ListField(child=VesselCodeField(), allow_empty=False, max_length=DRUMS_MAX)
    charges = rows_of(ChargeSerializer, required=False, max_length=LINES_MAX)
    wanted_on = OptionalDayField()
    customer_reference = OptionalTextField(max_length=60)
    note = OptionalTextField(max_length=300)
    beyond_is_right = serializers.BooleanField(required=False)
    quality_is_right = serializers.BooleanField(required=False)
    over_limit = serializers.BooleanField(required=False)
    moisture_is_right = serializers.BooleanField(required=False)


def contract_of(number: str) -> Contract:
    return get_object_or_404(contract_queries.listed(), number=number)


def _contract_data(contract: Contract) -> Any:
    [tally] = contract_queries.tallies([contract])
    return ContractSerializer(tally).data


class ContractsApiView(ApiActView, ListApiView):
    permission_classes = [BuyersPermission]
    permission_required = "orders.quote_drums"
    serializer_class = ContractAgreeSerializer
    row_serializer_class = ContractSerializer
    filterset_class = filters.ContractListFilters
    ordering_fields = ordered_by("id", "number", "ends_on", customer="customer__name")
    queryset = contract_queries.listed()

    @extend_schema(responses=ContractSerializer(many=True))
    def get(self, request: Request) -> Response:
        """The contracts with packers, with what is left of each."""
        return self.list(request)

    def rows(self, page: list[Contract]) -> Any:
        return contract_queries.tallies(page)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: ContractSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Write down a contract."""
        key = self.key()
        made = contracts.agree(**self.checked(), created_by=person_of(request), key=key)
        return Response(_contract_data(made), status=status.HTTP_201_CREATED)


class ContractApiView(TradeApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(responses={200: ContractSerializer})
    def get(self, request: Request, number: str) -> Response:
        """A contract with what is left of it."""
        return Response(_contract_data(contract_of(number)))


class ContractEndApiView(ApiActView):
    permission_required = "orders.quote_drums"
    serializer_class = ContractEndSerializer

    @extend_schema(responses={200: ContractSerializer, **REFUSALS})
    def post(self, request: Request, number: str) -> Response:
        """Let a contract end on another day."""
        contract = contract_of(number)
        return Response(_contract_data(contracts.end(contract=contract, **self.checked())))


class ContractSamplesApiView(ApiActView):
    permission_required = "orders.quote_drums"
    serializer_class = SampleSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: ContractSerializer, **REFUSALS})
    def post(self, request: Request, number: str) -> Response:
        """Write down that the buyer approved a sample of a lot."""
        contract, key = contract_of(number), self.key()
        contracts.approve_sample(
            contract=contract, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(_contract_data(contract), status=status.HTTP_201_CREATED)


class CallOffsApiView(ApiActView):
    permission_required = "orders.quote_drums"
    serializer_class = CallOffSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: OrderSerializer, **REFUSALS})
    def post(self, request: Request, number: str) -> Response:
        """Call off drums: an order at the contract's price that counts against it."""
        contract, key = contract_of(number), self.key()
        made = contracts.call_off(
            contract=contract, **self.checked(), created_by=person_of(request), key=key
        )
        return Response(OrderSerializer(made.order).data, status=status.HTTP_201_CREATED)


# Standing orders


class StandingOrderBodySerializer(serializers.Serializer):
    """How often a customer wants what."""

    rhythm = serializers.ChoiceField(choices=StandingOrder.Rhythm.choices)
    lines = pieces_rows()
    starts_on = serializers.DateField()
    ends_on = OptionalDayField()
    customer_reference = OptionalTextField(max_length=60)
    note = OptionalTextField(max_length=300)


class StandingOrderSetUpSerializer(StandingOrderBodySerializer):
    customer = IdField(queryset=Customer.objects.all())
    channel = StrictCharField(max_length=8, help_text="`shop` or `delivery`.")


class StandingOrderSerializer(RowSerializer):
    customer = serializers.CharField(source="customer.name")
    lines = DeliveryLineSerializer(many=True)

    class Meta:
        model = StandingOrder
        fields = [
            "id",
            "customer",
            "channel",
            "rhythm",
            "starts_on",
            "ends_on",
            "is_paused",
            "customer_reference",
            "note",
            "lines",
        ]


class PauseSerializer(serializers.Serializer):
    """Whether a standing order rests."""

    is_paused = serializers.BooleanField()


class LeaveOutSerializer(serializers.Serializer):
    """A day on which there is no order."""

    due_on = serializers.DateField()


class ProposedLineSerializer(AnswerSerializer):
    product = serializers.CharField(source="product.code")
    pieces = serializers.IntegerField()
    unit_price = serializers.DecimalField(max_digits=12, decimal_places=4, allow_null=True)
    lacking = serializers.IntegerField()


class ProposalSerializer(AnswerSerializer):
    """The order that a standing order proposes; `lacking` is what is not free now."""

    standing = serializers.IntegerField(source="standing.pk")
    customer = serializers.CharField(source="standing.customer.name")
    due_on = serializers.DateField()
    total_cents = serializers.IntegerField()
    lines = ProposedLineSerializer(source="proposed", many=True)


class DueSerializer(serializers.Serializer):
    """A standing order on one of its days."""

    standing = IdField(queryset=StandingOrder.objects.all())
    due_on = serializers.DateField()

    def validate(self, attrs: dict[str, Any]) -> Any:
        standing = standing_queries.listed().get(pk=attrs["standing"].pk)
        proposal = standing_queries.propose(standing, attrs["due_on"])
        if proposal.unpriced:
            raise serializers.ValidationError(
                {
                    "standing": _("%(product)s has no price for this customer. Enter one.")
                    % {"product": proposal.unpriced[0].name}
                }
            )
        return DueOrder(standing, attrs["due_on"], proposal.lines)


class ConfirmSerializer(serializers.Serializer):
    """Orders of standing orders to take, all or none."""

    due = rows_of(DueSerializer, allow_empty=False, max_length=LINES_MAX)
    over_limit = serializers.BooleanField(required=False)


def standing_of(pk: int) -> StandingOrder:
    return get_object_or_404(standing_queries.listed(), pk=pk)


class StandingOrdersApiView(ApiActView, ListApiView):
    permission_classes = [BuyersPermission]
    permission_required = SEES
    serializer_class = StandingOrderSetUpSerializer
    row_serializer_class = StandingOrderSerializer
    filterset_class = filters.StandingOrderListFilters
    ordering_fields = ordered_by("id", "starts_on", customer="customer__name")
    queryset = standing_queries.listed()

    @extend_schema(responses=StandingOrderSerializer(many=True))
    def get(self, request: Request) -> Response:
        """The standing orders."""
        return self.list(request)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: StandingOrderSerializer, **REFUSALS}
    )
    def post(self, request: Request) -> Response:
        """Write down what a customer wants again and again."""
        key = self.key()
        made = standing_orders.set_up(**self.checked(), created_by=person_of(request), key=key)
        return Response(StandingOrderSerializer(made).data, status=status.HTTP_201_CREATED)


class StandingOrderApiView(TradeApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(responses={200: StandingOrderSerializer})
    def get(self, request: Request, pk: int) -> Response:
        """A standing order."""
        return Response(StandingOrderSerializer(standing_of(pk)).data)


class StandingOrderChangeApiView(ApiActView):
    permission_required = SEES
    serializer_class = StandingOrderBodySerializer

    @extend_schema(responses={200: StandingOrderSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Change a standing order from its next day on."""
        made = standing_orders.change(standing=standing_of(pk), **self.checked())
        return Response(StandingOrderSerializer(made).data)


class StandingOrderPauseApiView(ApiActView):
    permission_required = SEES
    serializer_class = PauseSerializer

    @extend_schema(responses={200: StandingOrderSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Let a standing order rest, or resume it."""
        made = standing_orders.pause(standing=standing_of(pk), **self.checked())
        return Response(StandingOrderSerializer(made).data)


class StandingOrderLeaveOutApiView(ApiActView):
    permission_required = SEES
    serializer_class = LeaveOutSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: StandingOrderSerializer, **REFUSALS}
    )
    def post(self, request: Request, pk: int) -> Response:
        """Leave out one day of a standing order."""
        standing, key = standing_of(pk), self.key()
        standing_orders.leave_out(
            standing=standing, **self.checked(), decided_by=person_of(request), key=key
        )
        return Response(StandingOrderSerializer(standing).data, status=status.HTTP_201_CREATED)


class StandingOrdersDueApiView(ApiActView):
    permission_classes = [BuyersPermission]
    permission_required = SEES
    serializer_class = ConfirmSerializer

    @extend_schema(
        parameters=[OpenApiParameter("day", str, description="A day; today, unless another.")],
        responses={200: ProposalSerializer(many=True), **REFUSALS},
    )
    def get(self, request: Request) -> Response:
        """The orders that standing orders propose for a day, in one answer."""
        asked = request.query_params.get("day")
        day = serializers.DateField().run_validation(asked) if asked else timezone.localdate()
        return Response(ProposalSerializer(standing_queries.proposals(day), many=True).data)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: OrderSerializer(many=True), **REFUSALS}
    )
    def post(self, request: Request) -> Response:
        """Take proposed orders in one step, all or none."""
        key = self.key()
        made = standing_orders.confirm(**self.checked(), confirmed_by=person_of(request), key=key)
        return Response(OrderSerializer(made, many=True).data, status=status.HTTP_201_CREATED)


# Delivery rounds


@extend_schema_field({"type": "string"})
class BroughtField(StrictCharField):
    """The number of an order or of a consignment delivery."""

    def to_internal_value(self, data: Any) -> Any:
        number = super().to_internal_value(data)
        brought: Order | ConsignmentDelivery | None = None
        # PostgreSQL does not even take the question with a null character.
        if "\x00" not in number:
            found = Order.objects.filter(number=number).first()
            brought = found or ConsignmentDelivery.objects.filter(number=number).first()
        if brought is None:
            raise serializers.ValidationError(
                _("There is no order or delivery %(number)s.") % {"number": number}
            )
        return brought


class RoundBodySerializer(serializers.Serializer):
    """A day, a vehicle, and the numbers of what is brought, in the order of the stops."""

    day = serializers.DateField()
    vehicle = StrictCharField(max_length=60)
    stops = serializers.ListField(child=BroughtField(), allow_empty=True, max_length=STOPS_MAX)
    driver = OptionalTextField(max_length=60)
    note = OptionalTextField(max_length=300)


class GoodsSerializer(AnswerSerializer):
    """Pieces, or grams of what is weighed; `lot` is null where there are too few."""

    product = serializers.CharField(source="product.code")
    lot = serializers.CharField(source="lot.code", allow_null=True, default=None)
    quantity = serializers.IntegerField()


class DrumSerializer(AnswerSerializer):
    drum = serializers.CharField(source="drum.code")
    net_grams = serializers.IntegerField()
    gross_grams = serializers.IntegerField(allow_null=True)


class StopSerializer(AnswerSerializer):
    id = serializers.IntegerField(source="stop.pk")
    what = serializers.CharField()
    customer = serializers.CharField(source="customer.name")
    is_delivered = serializers.BooleanField()
    goods = GoodsSerializer(many=True)
    drums = DrumSerializer(many=True)


class RoundSerializer(AnswerSerializer):
    """A round with its load list: totals to load, and what is handed over at each stop."""

    id = serializers.IntegerField(source="round.pk")
    number = serializers.CharField(source="round.number")
    day = serializers.DateField(source="round.day")
    vehicle = serializers.CharField(source="round.vehicle")
    driver = serializers.CharField(source="round.driver")
    to_load = GoodsSerializer(source="goods", many=True)
    net_grams = serializers.IntegerField()
    gross_grams = serializers.IntegerField(allow_null=True)
    stops = StopSerializer(many=True)


class RoundRowSerializer(RowSerializer):
    stops = serializers.IntegerField(source="stop_count")
    left = serializers.IntegerField(source="left_count")

    class Meta:
        model = DeliveryRound
        fields = ["id", "number", "day", "vehicle", "driver", "stops", "left"]


def round_of(number: str) -> DeliveryRound:
    return get_object_or_404(DeliveryRound.objects.all(), number=number)


def _round_data(made: DeliveryRound) -> Any:
    return RoundSerializer(round_queries.load_list(made)).data


class RoundsApiView(ApiActView, ListApiView):
    permission_classes = [BuyersPermission]
    permission_required = FULFILS
    serializer_class = RoundBodySerializer
    row_serializer_class = RoundRowSerializer
    filterset_class = filters.DeliveryRoundListFilters
    ordering_fields = ordered_by("id", "number", "day")
    queryset = round_queries.listed()

    @extend_schema(responses=RoundRowSerializer(many=True))
    def get(self, request: Request) -> Response:
        """The delivery rounds, latest day first."""
        return self.list(request)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: RoundSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Plan a round."""
        key = self.key()
        made = rounds.plan(**self.checked(), created_by=person_of(request), key=key)
        return Response(_round_data(made), status=status.HTTP_201_CREATED)


class RoundChangeApiView(ApiActView):
    permission_classes = [BuyersPermission]
    permission_required = FULFILS
    serializer_class = RoundBodySerializer

    @extend_schema(responses={200: RoundSerializer})
    def get(self, request: Request, number: str) -> Response:
        """A round with its load list."""
        return Response(_round_data(round_of(number)))

    @extend_schema(
        operation_id="delivery_rounds_change", responses={200: RoundSerializer, **REFUSALS}
    )
    def post(self, request: Request, number: str) -> Response:
        """Change a round and the stops that are not delivered yet."""
        return Response(_round_data(rounds.change(round=round_of(number), **self.checked())))


class LoadListApiView(PaperApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="load_list", responses=PDF)
    def get(self, request: Request, number: str) -> Any:
        """The load list of a round."""
        content = trade_papers.load_list(round_of(number))
        return documents.pdf_response(f"load-list-{number}.pdf", content)


class StopDeliverApiView(ApiActView):
    permission_required = FULFILS
    serializer_class = DeliveredSerializer

    @extend_schema(
        operation_id="delivery_rounds_deliver",
        parameters=[IDEMPOTENCY_KEY],
        responses={200: RoundSerializer, **REFUSALS},
    )
    def post(self, request: Request, number: str, pk: int) -> Response:
        """Hand over what is brought at a stop."""
        stops = RoundStop.objects.select_related("round").filter(round__number=number)
        stop = get_object_or_404(stops, pk=pk)
        key = self.key()
        made = rounds.deliver(stop=stop, **self.checked(), delivered_by=person_of(request), key=key)
        return Response(_round_data(made.round))
