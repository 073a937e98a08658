"""Orders and quotes through the API: taken, changed, substituted, cancelled; quoted and ended."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView
from apiary_sales.api.fields import IdField, rows_of
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    OrderSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, BuyersPermission
from apiary_sales.customers.models import Customer, DeliveryAddress
from apiary_sales.customers.queries import delivery_addresses
from apiary_sales.customers.services import addresses
from apiary_sales.orders.models import Fulfilment, Order, OrderLine
from apiary_sales.orders.queries import orders as found
from apiary_sales.orders.rules.changes import OrderLineChange
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import changes, orders, quotes
from apiary_sales.pricing.models import Service
from inventory.bottling.models import Product
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.people import person_of
from inventory.stock.models import Place

MADE: dict[Any, Any] = {201: OrderSerializer, **REFUSALS}


class LineQuantityField(StrictIntegerField):
    """Pieces, grams of what is sold by weight, hundredths of a service's unit, or a count."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 1, "max_value": GRAMS_MAX, **kwargs})


class LinePriceField(StrictDecimalField):
    """A price of one piece, unit of weight of the house, or unit, with at most four decimals."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=12, decimal_places=4, min_value=0, **kwargs)


class CentsField(StrictIntegerField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 0, "max_value": CENTS_MAX, **kwargs})


class LineWantedSerializer(serializers.Serializer):
    """One thing on an order, with its price before tax."""

    kind = serializers.ChoiceField(choices=OrderLine.Kind.choices)
    product = CodeField(
        queryset=Product.objects.select_related("item", "size"), required=False, allow_null=True
    )
    drum = CodeField(
        queryset=Place.objects.filter(kind__in=Place.VESSELS), required=False, allow_null=True
    )
    service = CodeField(queryset=Service.objects.all(), required=False, allow_null=True)
    is_drawn = serializers.BooleanField(required=False, default=False)
    quantity = LineQuantityField()
    unit_price = LinePriceField()
    discount_cents = CentsField(required=False, default=0)

    def to_internal_value(self, data: Any) -> Any:
        return LineWanted(**super().to_internal_value(data))


class ShipToField(IdField):
    """The key of a delivery address of the customer; null is the customer's own address."""

    def __init__(self, **kwargs: Any) -> None:
        if not kwargs.get("read_only"):
            kwargs.setdefault("queryset", DeliveryAddress.objects.select_related("customer"))
        super().__init__(**{"required": False, "allow_null": True, **kwargs})


class TermsSerializer(serializers.Serializer):
    """What is agreed beside the lines, and what the caller was shown."""

    wanted_on = serializers.DateField(required=False, allow_null=True)
    customer_reference = StrictCharField(required=False, allow_blank=True, max_length=60)
    ship_to = ShipToField()
    note = StrictCharField(required=False, allow_blank=True, max_length=300)
    expected_total_cents = CentsField(required=False, allow_null=True)
    moisture_is_right = serializers.BooleanField(required=False, default=False)


class OrderWantedSerializer(TermsSerializer):
    """An order to take."""

    customer = IdField(queryset=Customer.objects.all())
    channel = serializers.ChoiceField(choices=Order.Channel.choices)
    lines = rows_of(LineWantedSerializer)
    over_limit = serializers.BooleanField(required=False, default=False)


class QuoteWantedSerializer(TermsSerializer):
    """A quote to make; `supersedes` is the number of the open quote it takes the place of."""

    customer = IdField(queryset=Customer.objects.all())
    channel = serializers.ChoiceField(choices=Order.Channel.choices, default=Order.Channel.BULK)
    lines = rows_of(LineWantedSerializer)
    valid_until = serializers.DateField()
    supersedes: serializers.SlugRelatedField = serializers.SlugRelatedField(
        slug_field="number", queryset=Order.objects.all(), required=False, allow_null=True
    )


class OrderLineChangeSerializer(serializers.Serializer):
    """What a line is changed to; what is left out stays. A quantity of 0 takes it off."""

    line = StrictIntegerField(min_value=1)
    quantity = LineQuantityField(min_value=0, required=False, allow_null=True)
    unit_price = LinePriceField(required=False, allow_null=True)
    discount_cents = CentsField(required=False, allow_null=True)
    price_reason = StrictCharField(required=False, allow_blank=True, max_length=200)

    def to_internal_value(self, data: Any) -> Any:
        return OrderLineChange(**super().to_internal_value(data))


class OrderChangeSerializer(TermsSerializer):
    """Changes of an order or an open quote. `seen` is the `state` that was read of it."""

    changes = rows_of(OrderLineChangeSerializer, required=False)
    lines = rows_of(LineWantedSerializer, required=False)
    valid_until = serializers.DateField(required=False)
    seen = StrictCharField(required=False, allow_blank=True, max_length=20)
    over_limit = serializers.BooleanField(required=False, default=False)


class SubstituteSerializer(serializers.Serializer):
    """What takes the place of a line: a product and how much of it, or a drum."""

    line = StrictIntegerField(min_value=1)
    product = CodeField(
        queryset=Product.objects.select_related("item", "size"), required=False, allow_null=True
    )
    drum = CodeField(
        queryset=Place.objects.filter(kind=Place.Kind.DRUM), required=False, allow_null=True
    )
    quantity = LineQuantityField(required=False, allow_null=True)
    unit_price = LinePriceField(required=False, allow_null=True)
    reason = StrictCharField(max_length=200)
    seen = StrictCharField(required=False, allow_blank=True, max_length=20)
    expected_total_cents = CentsField(required=False, allow_null=True)
    over_limit = serializers.BooleanField(required=False, default=False)
    moisture_is_right = serializers.BooleanField(required=False, default=False)


class OrderReasonSerializer(serializers.Serializer):
    """Why an order is cancelled, or a quote declined or withdrawn."""

    reason = StrictCharField(max_length=300)


class QuoteAcceptSerializer(serializers.Serializer):
    """A quote that the buyer accepts, at the total that was shown; the quote's own without one."""

    expected_total_cents = CentsField(required=False, allow_null=True)
    over_limit = serializers.BooleanField(required=False, default=False)
    moisture_is_right = serializers.BooleanField(required=False, default=False)


class DeliveryAddressSerializer(RowSerializer):
    class Meta:
        model = DeliveryAddress
        fields = [
            "id",
            "name",
            "street",
            "city",
            "region",
            "postal_code",
            "country",
            "note",
            "is_active",
        ]
        read_only_fields = ["is_active"]


class OrderActApiView(ApiActView):
    """An act that answers with the changed order."""

    permission_required = "orders.take_orders"

    def order(self) -> Order:
        return get_object_or_404(Order.objects.all(), number=self.kwargs["number"])

    def answer(self, order: Order) -> Response:
        made = found.for_page().get(pk=order.pk)
        return Response(OrderSerializer(made).data, status=status.HTTP_201_CREATED)


class OrdersTakeApiView(OrderActApiView):
    serializer_class = OrderWantedSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses=MADE)
    def post(self, request: Request) -> Response:
        """Take an order and reserve its goods."""
        key = self.key()
        return self.answer(orders.take(**self.checked(), created_by=person_of(request), key=key))


class OrderChangeApiView(OrderActApiView):
    serializer_class = OrderChangeSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses=MADE)
    def post(self, request: Request, number: str) -> Response:
        """Change lines, add some, and change what is agreed; reservations follow."""
        key, order = self.key(), self.order()
        data = self.checked()
        return self.answer(
            changes.change(order=order, **data, changed_by=person_of(request), key=key)
        )


class OrderSubstituteApiView(OrderActApiView):
    serializer_class = SubstituteSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses=MADE)
    def post(self, request: Request, number: str) -> Response:
        """Put other goods in the place of what is left to hand over of a line."""
        key, order = self.key(), self.order()
        data = self.checked()
        return self.answer(
            changes.substitute(order=order, **data, substituted_by=person_of(request), key=key)
        )


class OrderReserveMissingApiView(OrderActApiView):
    serializer_class = serializers.Serializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], request=None, responses=MADE)
    def post(self, request: Request, number: str) -> Response:
        """Reserve free goods in place of those that turned out to be gone."""
        key, order = self.key(), self.order()
        return self.answer(
            changes.reserve_missing(order=order, reserved_by=person_of(request), key=key)
        )


class OrderCancelApiView(OrderActApiView):
    serializer_class = OrderReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses=MADE)
    def post(self, request: Request, number: str) -> Response:
        """Cancel what is not handed over of an order."""
        key, order = self.key(), self.order()
        data = self.checked()
        return self.answer(
            orders.cancel(order=order, **data, cancelled_by=person_of(request), key=key)
        )


class QuoteActApiView(OrderActApiView):
    permission_required = "orders.quote_drums"


class QuotesApiView(QuoteActApiView):
    serializer_class = QuoteWantedSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses=MADE)
    def post(self, request: Request) -> Response:
        """Offer goods at a price until a day; nothing is reserved."""
        key = self.key()
        return self.answer(quotes.quote(**self.checked(), created_by=person_of(request), key=key))


class QuoteAcceptApiView(QuoteActApiView):
    serializer_class = QuoteAcceptSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses=MADE)
    def post(self, request: Request, number: str) -> Response:
        """Turn a quote into an order; its drums go at what they weigh now."""
        key, order = self.key(), self.order()
        data = self.checked()
        return self.answer(
            quotes.accept(order=order, **data, accepted_by=person_of(request), key=key)
        )


class QuoteDeclineApiView(QuoteActApiView):
    serializer_class = OrderReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses=MADE)
    def post(self, request: Request, number: str) -> Response:
        """Write down that the buyer does not take a quote."""
        key, order = self.key(), self.order()
        data = self.checked()
        return self.answer(
            quotes.decline(order=order, **data, declined_by=person_of(request), key=key)
        )


class QuoteWithdrawApiView(QuoteActApiView):
    serializer_class = OrderReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses=MADE)
    def post(self, request: Request, number: str) -> Response:
        """Take back a quote that the buyer has not accepted."""
        key, order = self.key(), self.order()
        data = self.checked()
        return self.answer(
            quotes.withdraw(order=order, **data, withdrawn_by=person_of(request), key=key)
        )


class DeliveryAddressesApiView(ApiActView, ListApiView):
    permission_classes = [BuyersPermission]
    permission_required = "customers.manage_customers"
    serializer_class = DeliveryAddressSerializer
    row_serializer_class = DeliveryAddressSerializer
    filterset_class = filters.DeliveryAddressListFilters
    ordering_fields = ordered_by("id", "name")
    queryset = DeliveryAddress.objects.none()

    @extend_schema(responses=DeliveryAddressSerializer(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List where else goods of a customer go."""
        return self.list(request)

    def get_queryset(self) -> QuerySet[DeliveryAddress]:
        return delivery_addresses(get_object_or_404(Customer.objects.all(), pk=self.kwargs["pk"]))

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: DeliveryAddressSerializer, **REFUSALS}
    )
    def post(self, request: Request, pk: int) -> Response:
        """Add an address to which goods of a customer go."""
        key, customer = self.key(), get_object_or_404(Customer.objects.all(), pk=pk)
        made = addresses.add(customer=customer, **self.checked(), key=key)
        return Response(DeliveryAddressSerializer(made).data, status=status.HTTP_201_CREATED)


class DeliveryAddressRemoveApiView(ApiActView):
    permission_required = "customers.manage_customers"
    serializer_class = serializers.Serializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        request=None,
        responses={201: DeliveryAddressSerializer, **REFUSALS},
    )
    def post(self, request: Request, pk: int) -> Response:
        """Take an address off the list; orders that go there keep it."""
        self.key()
        address = get_object_or_404(DeliveryAddress.objects.all(), pk=pk)
        made = addresses.remove(address)
        return Response(DeliveryAddressSerializer(made).data, status=status.HTTP_201_CREATED)


class OrderRepickApiView(ApiActView):
    permission_required = "orders.fulfil_orders"
    serializer_class = serializers.Serializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], request=None, responses={200: OrderSerializer, **REFUSALS}
    )
    def post(self, request: Request, number: str) -> Response:
        """Reserve other jars in place of those whose lot was put on hold since."""
        order = get_object_or_404(Order, number=number)
        key = self.key()
        made = orders.repick(order=order, picked_by=person_of(request), key=key)
        return Response(OrderSerializer(made).data)


class HandOverUndoSerializer(serializers.Serializer):
    """Why it is undone; jars that had left the house are kept apart until somebody decides."""

    reason = StrictCharField(max_length=300)
    had_left = serializers.BooleanField()


class HandOverUndoApiView(ApiActView):
    permission_required = "orders.take_orders"
    serializer_class = HandOverUndoSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: OrderSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Undo a hand-over: the goods come back, and the order is as it was."""
        fulfilment = get_object_or_404(Fulfilment.objects.select_related("order"), pk=pk)
        key = self.key()
        orders.take_back(
            fulfilment=fulfilment, **self.checked(), taken_by=person_of(request), key=key
        )
        return Response(OrderSerializer(Order.objects.get(pk=fulfilment.order_id)).data)
