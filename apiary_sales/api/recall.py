"""A recall in the API: what the page says, in whole grams and pieces."""

from functools import cached_property
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.response import Response

from apiary_sales.api.answers import AnswerSerializer
from apiary_sales.api.bases import ApiView, ListApiView
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.pages import GroupPages
from apiary_sales.api.views import BuyersPermission
from apiary_sales.orders.models import FulfilmentLine
from apiary_sales.orders.queries import recall, recalled_lots, trace
from inventory.stock.models import Lot, PostingLine
from inventory.stock.models.lots import LotKeys
from inventory.stock.queries import whereabouts
from inventory.stock.queries.find_lots import LotMatch

# More lots than a person ever asks about at once.
LOTS_MAX = 200
CODE = OpenApiParameter(
    "code",
    OpenApiTypes.STR,
    description="A lot code, a drum, order or invoice number, a supplier, or part of a code.",
)
LOT = OpenApiParameter(
    "lot",
    OpenApiTypes.STR,
    many=True,
    description="The id of a lot, as `matches` gives it; once for each lot. Goes before `code`.",
)


class RecallMatchSerializer(AnswerSerializer):
    """A lot that fits the code; `is_meant` is false for one that only may be meant."""

    id = serializers.IntegerField(source="lot.pk")
    code = serializers.CharField(source="lot.code")
    kind = serializers.CharField(source="lot.kind")
    made_on = serializers.DateField(source="lot.made_on")
    found_by = serializers.CharField(source="why")
    is_meant = serializers.BooleanField()


class LotAccountSerializer(serializers.Serializer):
    """What came in of a lot and what became of it: grams where `is_weighed`, else pieces."""

    id = serializers.IntegerField(source="pk")
    code = serializers.CharField()
    kind = serializers.CharField()
    what = serializers.CharField()
    made_on = serializers.DateField()
    is_weighed = serializers.BooleanField()
    is_asked = serializers.BooleanField()
    is_on_hold = serializers.BooleanField()
    came_in = serializers.IntegerField()
    sold = serializers.IntegerField()
    came_back = serializers.IntegerField()
    still_out = serializers.IntegerField()
    on_hand = serializers.IntegerField()
    reserved = serializers.IntegerField()
    into_lots = serializers.IntegerField()
    handed_back = serializers.IntegerField()
    ways_out = serializers.DictField(child=serializers.IntegerField())
    lost_in_counts = serializers.IntegerField(source="lost")
    found_in_counts = serializers.IntegerField(source="found")
    difference = serializers.IntegerField()


class RecallSourceSerializer(serializers.Serializer):
    id = serializers.IntegerField(source="pk")
    code = serializers.CharField()
    kind = serializers.CharField()
    made_on = serializers.DateField()


class RecallPlaceSerializer(serializers.Serializer):
    place = serializers.CharField(source="code")
    name = serializers.CharField(source="place")
    holder = serializers.CharField(
        allow_blank=True, help_text="The shop on whose shelf it is on consignment."
    )
    contact = serializers.CharField(allow_blank=True)
    phone = serializers.CharField(allow_blank=True)
    email = serializers.CharField(allow_blank=True)
    lot = serializers.CharField()
    is_weighed = serializers.BooleanField()
    quantity = serializers.IntegerField()
    reserved = serializers.IntegerField()


class RecallWaitingSerializer(serializers.Serializer):
    """An order or quote that names goods not handed over yet."""

    order = serializers.CharField()
    buyer = serializers.CharField(source="name")
    lot = serializers.CharField()
    place = serializers.CharField()
    is_weighed = serializers.BooleanField()
    quantity = serializers.IntegerField()
    is_reserved = serializers.BooleanField()
    is_quote = serializers.BooleanField()


class RecallReturnSerializer(serializers.Serializer):
    day = serializers.DateField()
    lot = serializers.CharField()
    place = serializers.CharField()
    is_weighed = serializers.BooleanField()
    quantity = serializers.IntegerField()


class RecallHandedBackSerializer(serializers.Serializer):
    """What was handed back to the beekeeper to whom it belongs, who has it now."""

    owner = serializers.CharField(source="name")
    contact = serializers.CharField()
    phone = serializers.CharField()
    email = serializers.CharField()
    day = serializers.DateField()
    lot = serializers.CharField()
    goods = serializers.CharField(source="what")
    is_weighed = serializers.BooleanField()
    quantity = serializers.IntegerField()


class RecallUnnamedSerializer(serializers.Serializer):
    """What was sold on one day to people whose names are not known."""

    day = serializers.DateField()
    lot = serializers.CharField()
    goods = serializers.CharField(source="description")
    is_weighed = serializers.BooleanField()
    sales = serializers.IntegerField()
    sold = serializers.IntegerField()
    came_back = serializers.IntegerField()
    still_out = serializers.IntegerField()


class RecallShortageSerializer(serializers.Serializer):
    """What an act took although the books had none of it, and is not settled yet.

    `lot` is null where nobody knows the lot: it may be among what is recalled.
    """

    lot = serializers.SerializerMethodField()
    goods = serializers.CharField(source="what")
    place = serializers.CharField()
    act = serializers.CharField()
    day = serializers.DateField()
    recorded_by = serializers.CharField(source="who")
    is_weighed = serializers.BooleanField()
    quantity = serializers.IntegerField()

    lot_id = serializers.IntegerField(source="lot_key", allow_null=True)

    def get_lot(self, row: recall.ShortRow) -> str | None:
        return row.lot or None


class RecallFiguresSerializer(serializers.Serializer):
    """What a recall comes to, and where the goods are now."""

    buyers = serializers.IntegerField()
    buyers_with_some = serializers.IntegerField()
    named_sales = serializers.IntegerField()
    pieces_out = serializers.IntegerField()
    grams_out = serializers.IntegerField()
    percent_accounted = serializers.DecimalField(max_digits=5, decimal_places=2, allow_null=True)
    percent_found = serializers.DecimalField(max_digits=5, decimal_places=2, allow_null=True)
    places = RecallPlaceSerializer(many=True)
    waiting = RecallWaitingSerializer(many=True)
    handed_back = RecallHandedBackSerializer(many=True)
    to_be_settled = RecallShortageSerializer(many=True, source="shortages")


class RecallAnswerSerializer(RecallFiguresSerializer):
    """The answer but for its lists, which can be very long: how many rows each has.

    `/api/v1/recall/lots/`, `sources/`, `came-back/`, `unnamed/` and `sales/` give them in pages.
    """

    lot_count = serializers.IntegerField()
    source_count = serializers.IntegerField()
    came_back_count = serializers.IntegerField()
    unnamed_count = serializers.IntegerField()


class RecallKeptSerializer(RecallFiguresSerializer):
    """The answer as it was kept, with its lists but for the named sales."""

    lots = LotAccountSerializer(many=True)
    sources = RecallSourceSerializer(many=True)
    came_back = RecallReturnSerializer(many=True, source="back")
    unnamed = RecallUnnamedSerializer(many=True)


class RecallFoundSerializer(serializers.Serializer):
    """The lots that fit, if any, and the answer where they are certain; else choose with `lot`."""

    matches = RecallMatchSerializer(many=True)
    answer = RecallAnswerSerializer(allow_null=True)


class RecallSaleSerializer(serializers.Serializer):
    customer_id = serializers.IntegerField(source="customer", allow_null=True)
    buyer = serializers.CharField(source="name")
    contact = serializers.CharField()
    phone = serializers.CharField()
    email = serializers.CharField()
    order = serializers.CharField()
    invoices = serializers.SerializerMethodField()
    lot = serializers.CharField()
    goods = serializers.CharField(source="description")
    handed_over_on = serializers.DateField()
    is_weighed = serializers.BooleanField()
    sold = serializers.IntegerField()
    came_back = serializers.IntegerField()
    still_out = serializers.IntegerField()

    def get_invoices(self, row: trace.SaleRow) -> list[str]:
        return [invoice.number for invoice in row.invoices]


def _chosen(request: Any) -> list[int]:
    """Return the ids of the lots that a request names, of those there are."""
    sent = request.query_params.getlist("lot")
    if any(not (each.isascii() and each.isdecimal()) for each in sent):
        raise ValidationError({"lot": _("Send the id of a lot, a whole number.")})
    wanted = [int(each) for each in sent[:LOTS_MAX] if len(each) < 18]
    return list(Lot.objects.filter(pk__in=wanted).order_by("pk").values_list("pk", flat=True))


def _asked(request: Any) -> tuple[list[LotMatch], list[int]]:
    """Return the lots that fit the code of a request, and the ids of those that are meant."""
    if roots := _chosen(request):
        return [], roots
    found = recalled_lots.find(request.query_params.get("code", ""))
    return found.matches, [lot.pk for lot in found.meant] if found.is_certain else []


class RecallView(ApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="recall", parameters=[CODE, LOT], responses=RecallFoundSerializer)
    def get(self, request):
        """Say who has what was made of a lot, where the rest is, and whether that is all of it."""
        matches, roots = _asked(request)
        answer = recall.answer(roots) if roots else None
        made = RecallFoundSerializer({"matches": matches, "answer": answer})
        return Response(made.data)


class RecallListView(ListApiView):
    """A list of a recall of the lots that are asked about; of none while they are not certain."""

    permission_classes = [BuyersPermission]

    @cached_property
    def roots(self) -> list[int]:
        return _asked(self.request)[1]

    @property
    def family(self) -> LotKeys:
        return Lot.objects.family_keys(self.roots)


class RecallLotsView(RecallListView):
    """The lots of a recall, the oldest first: what came in of each, and what became of it."""

    serializer_class = LotAccountSerializer

    @extend_schema(operation_id="recall_lots", parameters=[CODE, LOT])
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet[Lot]:
        return Lot.objects.filter(pk__in=self.family).order_by("made_on", "id")

    def rows(self, page: list[Any]) -> Any:
        keys = [lot.pk for lot in page]
        by_lot = {account.pk: account for account in recall.accounts(self.roots, keys)}
        return [by_lot[key] for key in keys]


class RecallSourcesView(RecallListView):
    """The lots that went into those that are asked about, the latest first."""

    serializer_class = RecallSourceSerializer

    @extend_schema(operation_id="recall_sources", parameters=[CODE, LOT])
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet[Lot]:
        return recall.sources_of(self.roots)

    def rows(self, page: list[Any]) -> Any:
        return recall.source_rows(page)


class RecallCameBackView(RecallListView):
    """What customers gave back of the lots and of all that was made from them, the latest first."""

    serializer_class = RecallReturnSerializer

    @extend_schema(operation_id="recall_came_back", parameters=[CODE, LOT])
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet[PostingLine]:
        return whereabouts.came_back(self.family)

    def rows(self, page: list[Any]) -> Any:
        return recall.back_rows(page)


class RecallUnnamedView(RecallListView):
    """What was sold without a name, by day, lot and thing sold, the latest first."""

    serializer_class = RecallUnnamedSerializer
    pagination_class = GroupPages
    group = ("fulfilment__filled_on", "lot", "order_line__description")
    ordering_fields = ordered_by("lot", day="fulfilment__filled_on")

    @extend_schema(operation_id="recall_unnamed", parameters=[CODE, LOT])
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet[Any, Any]:
        return trace.unnamed(self.family)

    def rows(self, page: list[Any]) -> Any:
        return trace.unnamed_rows(page)


class RecallSalesView(RecallListView):
    """Every sale with a name of the lots and of all that was made from them, buyer by buyer."""

    serializer_class = RecallSaleSerializer

    @extend_schema(operation_id="recall_sales", parameters=[CODE, LOT])
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet[FulfilmentLine]:
        return trace.named(self.family)

    def rows(self, page: list[Any]) -> Any:
        return trace.sale_rows(page)
