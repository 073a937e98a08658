"""The API: the same services and permissions as the pages, in JSON."""

from datetime import date
from typing import Any

from django.http import HttpResponseBase
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework import mixins, status, viewsets
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer

from apiary_sales.accounts.models import User
from apiary_sales.api import bodies, description, filters, idempotency, serializers
from apiary_sales.api.bases import ApiView
from apiary_sales.api.bases import BuyersPermission as BuyersPermission
from apiary_sales.api.bases import ViewPermission as ViewPermission
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.lots import OF_PRODUCT, lot_of
from apiary_sales.api.sold_at import as_happened
from apiary_sales.billing.models import Invoice, StandSale
from apiary_sales.billing.services import handed_in, stand, stand_prices
from apiary_sales.billing.services.stand import PaymentMade
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from inventory.bottling.models import Product, Size
from inventory.shared import keys
from inventory.shared.errors import Problems, parameters_named
from inventory.shared.people import person_of
from inventory.stock import seen
from inventory.stock.models import Balance, Lot, Place, Posting
from inventory.stock.services import honey

IDEMPOTENCY_KEY = OpenApiParameter(
    name="Idempotency-Key",
    location=OpenApiParameter.HEADER,
    type=OpenApiTypes.STR,
    required=True,
    description="A text of your own, at most 100 characters; the same key never acts twice.",
)
# Refused because of the figures or the state of the books. Earlier refusals (no key, no
# permission, not found) are the default answer of every operation: see `schema.add_problems`.
REFUSALS = {
    (code, "application/problem+json"): serializers.ProblemSerializer for code in (400, 409, 422)
}


class ReadOnlyViewSet(
    ApiView, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet
):
    """A list and single things, for reading."""


@extend_schema_view(
    list=extend_schema(summary="List the tanks, drums, shelves, stands and vans."),
    retrieve=extend_schema(summary="Show one place."),
)
class PlaceViewSet(ReadOnlyViewSet):
    is_read_to_sell = True
    filterset_class = filters.PlaceListFilters
    ordering_fields = ordered_by("id", "code", "name", "kind", "changed_at")
    queryset = Place.objects.filter(kind__in=[*Place.VESSELS, *Place.FOR_GOODS]).order_by("code")
    serializer_class = serializers.PlaceSerializer
    lookup_field = "code"

    def filter_queryset(self, queryset: Any) -> Any:
        return seen.places(person_of(self.request), super().filter_queryset(queryset))


@extend_schema_view(
    list=extend_schema(summary="List the lots of honey and goods, the newest first.")
)
class LotViewSet(ReadOnlyViewSet):
    filterset_class = filters.LotListFilters
    queryset = Lot.objects.select_related("product__item", "supplier", "owner").order_by(
        "-made_on", "-id"
    )
    serializer_class = serializers.LotSerializer
    lookup_field = "code"
    lookup_value_regex = "[^/]+"
    ordering_fields = ordered_by(
        "id", "code", "season", "made_on", "best_by", "colour_mm", "changed_at"
    )

    @extend_schema(summary="Show one lot.", parameters=[OF_PRODUCT])
    def retrieve(self, request: Request, code: str) -> Response:
        return Response(self.get_serializer(lot_of(request, code)).data)


@extend_schema_view(
    list=extend_schema(summary="List the sizes of jars, the smallest first."),
    retrieve=extend_schema(summary="Show one size."),
)
class SizeViewSet(ReadOnlyViewSet):
    filterset_class = filters.SizeListFilters
    ordering_fields = ordered_by("id", "code", "name", "brimful_ml", "changed_at")
    queryset = Size.objects.order_by("brimful_ml", "name")
    serializer_class = serializers.SizeSerializer
    lookup_field = "code"


@extend_schema_view(
    list=extend_schema(summary="List the products."),
    retrieve=extend_schema(summary="Show one product."),
)
class ProductViewSet(ReadOnlyViewSet):
    is_read_to_sell = True
    filterset_class = filters.ProductListFilters
    ordering_fields = ordered_by("id", "code", "name", "kind", "changed_at")
    queryset = Product.objects.select_related("item", "size", "variety", "brand")
    serializer_class = serializers.ProductSerializer
    lookup_field = "code"


class StockViewSet(ApiView, mixins.ListModelMixin, viewsets.GenericViewSet):
    """What is in the house: a row for each item, place and lot."""

    is_read_to_sell = True
    filterset_class = filters.StockListFilters
    ordering_fields = ordered_by(
        "quantity", item="item__name", place="place__code", lot="lot__code"
    )
    queryset = (
        Balance.objects.filter(is_physical=True, quantity__gt=0)
        .select_related("item", "place", "lot__owner")
        .order_by("item__name", "place__code", "id")
    )
    serializer_class = serializers.StockSerializer

    def filter_queryset(self, queryset: Any) -> Any:
        return seen.stock(person_of(self.request), super().filter_queryset(queryset))


@extend_schema_view(
    list=extend_schema(summary="List the what happened to stock, the latest first."),
    retrieve=extend_schema(summary="Show one posting, with its lines."),
)
class PostingViewSet(ReadOnlyViewSet):
    filterset_class = filters.PostingListFilters
    ordering_fields = ordered_by("id", "occurred_at", "recorded_at", "kind")
    queryset = Posting.objects.prefetch_related(
        # Not joined: few people made all of them, and SQLite would begin there.
        "recorded_by",
        "lines__item",
        "lines__place",
        "lines__lot",
        "corrections__lines__item",
        "corrections__lines__place",
        "corrections__lines__lot",
        "corrections__reversed_by",
    ).order_by("-occurred_at", "-id")
    serializer_class = serializers.PostingSerializer

    def filter_queryset(self, queryset: Any) -> Any:
        return seen.postings(person_of(self.request), super().filter_queryset(queryset))


@extend_schema_view(
    list=extend_schema(summary="List the customers."),
    retrieve=extend_schema(summary="Show one customer."),
)
class CustomerViewSet(ReadOnlyViewSet):
    filterset_class = filters.CustomerListFilters
    ordering_fields = ordered_by("id", "name", "kind", "tier", "changed_at")
    queryset = Customer.objects.prefetch_related("certificates__accepted_by").order_by("name")
    serializer_class = serializers.CustomerSerializer
    permission_classes = [BuyersPermission]


@extend_schema_view(
    list=extend_schema(summary="List the orders and quotes, the newest first."),
    retrieve=extend_schema(summary="Show one order or quote, with its lines."),
)
class OrderViewSet(ReadOnlyViewSet):
    filterset_class = filters.OrderListFilters
    ordering_fields = ordered_by(
        "id", "number", "placed_on", "wanted_on", "changed_at", customer="customer__name"
    )
    queryset = (
        Order.objects.select_related("customer", "supersedes")
        .prefetch_related(
            "invoices",
            "lines__product",
            "lines__drum",
            "lines__service",
            "lines__fulfilment_lines__fulfilment",
        )
        .order_by("-id")
    )
    serializer_class = serializers.OrderSerializer
    permission_classes = [BuyersPermission]
    lookup_field = "number"


@extend_schema_view(
    list=extend_schema(summary="List the invoices and credit notes, the newest first."),
    retrieve=extend_schema(summary="Show one invoice or credit note, with its lines and taxes."),
)
class InvoiceViewSet(ReadOnlyViewSet):
    filterset_class = filters.InvoiceListFilters
    ordering_fields = ordered_by(
        "id",
        "issued_on",
        "due_on",
        "total_cents",
        "open_cents",
        "changed_at",
        customer="customer__name",
    )
    queryset = (
        Invoice.objects.select_related("customer", "order", "credits", "corrects", "corrected_by")
        .prefetch_related("lines__taxes", "credit_notes", "allocations__payment", "adjustments")
        .order_by("-id")
    )
    serializer_class = serializers.InvoiceSerializer
    permission_required = "billing.view_money"


class ApiActView(ApiView):
    """One act: the body is checked, one service is called, what it made is the answer.

    All of it is one transaction, and is done once for a key: see `idempotency`. A view that is not
    `is_one_transaction` cares for both itself.
    A service names the parameter that is wrong; `field_of` says which field of the body it came
    in. A field of another name than its parameter has that name as its `source`.
    """

    permission_classes = [ViewPermission]
    serializer_class: type[Serializer]
    is_one_transaction = True

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        for name in idempotency.ACTS:
            act = getattr(cls, name, None)
            if act is not None and not hasattr(act, "acts_once"):
                setattr(cls, name, idempotency.answered_once(act))

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        # An act that is told nothing but its address does not read its body.
        if request.method == "POST" and not self.serializer_class().fields:
            self.checked()

    def field_of(self, parameter: str | None) -> str | None:
        """Return the field of the body for a parameter of the service, None where it has none."""
        return serializers.field_of(self.serializer_class(), parameter)

    def key(self) -> str:
        """Return the request's idempotency key; refuse a request without one."""
        key = idempotency.checked_key(self.request.headers.get("Idempotency-Key", ""))
        return key_in_books(self.request, key)

    def checked(self) -> dict[str, Any]:
        """Return the parameters out of the body; raises `ValidationError`, field by field."""
        return bodies.checked(self.serializer_class(data=self.request.data))


def key_in_books(request: Request, key: str) -> str:
    """Return the key of an act in the books, where all share the space of keys.

    So one person, or one of the person's tokens, does not meet the key of another.
    """
    whose = f"api-{request.user.pk}"
    if token := idempotency.token_of(request):
        whose = f"{whose}-{token[:12]}"
    return keys.part(key, whose)


class SchemaView(ApiView):
    """The description of this API, for programs (OpenAPI): JSON, or YAML where that is asked for.

    It is for everybody, since it tells nothing of the house. Whoever keeps it asks with its ETag.
    """

    permission_classes = []
    renderer_classes = description.RENDERERS

    @extend_schema(exclude=True)
    def get(self, request: Request) -> HttpResponseBase:
        kept = description.current()
        etag = f'"{kept.digest}-{request.accepted_renderer.format}"'
        answer = Response(kept, headers={"ETag": etag})
        return get_conditional_response(request._request, etag=etag, response=answer) or answer

    def handle_exception(self, exc: Exception) -> Response:
        """Refuse in JSON, whatever the description was to be written in."""
        self.request.accepted_renderer = JSONRenderer()
        return super().handle_exception(exc)


class ExtractionView(ApiActView):
    permission_required = "inventory.move_honey"
    serializer_class = serializers.ExtractionSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        responses={201: serializers.LotSerializer, **REFUSALS},
    )
    def post(self, request):
        """Receive an extraction into a vessel."""
        key = self.key()
        data = self.checked()
        lot = honey.receive(**data, recorded_by=person_of(request), key=key)
        return Response(serializers.LotSerializer(lot).data, status=status.HTTP_201_CREATED)


class TransferView(ApiActView):
    permission_required = "inventory.move_honey"
    serializer_class = serializers.TransferSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        responses={201: serializers.PostingSerializer, **REFUSALS},
    )
    def post(self, request):
        """Pour honey from one vessel into another."""
        key = self.key()
        data = self.checked()
        posting = honey.transfer(**data, recorded_by=person_of(request), key=key)
        return Response(serializers.PostingSerializer(posting).data, status=status.HTTP_201_CREATED)


class StandSaleView(ApiActView):
    permission_required = "orders.sell_at_stand"
    serializer_class = serializers.StandSaleSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        responses={201: serializers.StandSaleMadeSerializer, **REFUSALS},
    )
    def post(self, request):
        """Sell jars over the counter at the stand prices of the day."""
        key = self.key()
        sale = sell_at_stand(self.checked(), sold_by=person_of(request), key=key)
        handed_in.came_in(sale=sale, sent_by=person_of(request))
        made = serializers.StandSaleMadeSerializer(sale)
        return Response(made.data, status=status.HTTP_201_CREATED)


def sell_at_stand(data: dict[str, Any], *, sold_by: User, key: str) -> StandSale:
    """Sell what a checked body says, at the stand prices of its day. Raises what `stand.sell` does.

    `BadValue` too for goods without a price on that day, and for a moment that can't be.
    """
    sold_at, lines = data.pop("sold_at", None), data.pop("lines")
    method, tendered_cents = data.pop("method", None), data.pop("tendered_cents")
    sent = data.pop("payments", [{"method": method, "tendered_cents": tendered_cents}])
    happened = as_happened(sold_at, [each["method"] for each in sent])
    names = {"payments.0.method": "method", "payments.0.tendered_cents": "tendered_cents"}
    with parameters_named(**(names if method else {})):
        return stand.sell(
            **data,
            **happened,
            lines=_priced(lines, timezone.localdate(sold_at)),
            payments=[PaymentMade(**each) for each in sent],
            sold_by=sold_by,
            key=key,
        )


def _priced(wanted: list[dict], day: date) -> list[LineWanted]:
    in_force = stand_prices.of_sold(day, [line["product"] for line in wanted])
    problems = Problems()
    lines = []
    for index, line in enumerate(wanted):
        unit_price = in_force[line["product"].pk].unit_price(line["quantity"])
        if unit_price is None:
            problems.add(
                f"lines.{index}.product",
                _("No stand price is set for %(product)s.") % {"product": line["product"].name},
            )
            continue
        lines.append(
            LineWanted(
                kind=OrderLine.Kind.PACKED,
                product=line["product"],
                quantity=line["quantity"],
                unit_price=unit_price,
            )
        )
    problems.raise_any()
    return lines
