"""A recall in the API: what the page says, in whole grams and pieces."""

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
from apiary_sales.api.views import BuyersPermission
from apiary_sales.orders.models import FulfilmentLine
from apiary_sales.orders.queries import recall, recalled_lots, trace
from inventory.stock.models import Lot

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


class RecallAnswerSerializer(serializers.Serializer):
    """The answer but for the named sales, which `/api/v1/recall/sales/` gives in pages."""

    buyers = serializers.IntegerField()
    buyers_with_some = serializers.IntegerField()
    named_sales = serializers.IntegerField()
    pieces_out = serializers.IntegerField()
    grams_out = serializers.IntegerField()
    percent_accounted = serializers.DecimalField(max_digits=5, decimal_places=2, allow_null=True)
    percent_found = serializers.DecimalField(max_digits=5, decimal_places=2, allow_null=True)
    lots = LotAccountSerializer(many=True)
    sources = RecallSourceSerializer(many=True)
    places = RecallPlaceSerializer(many=True)
    waiting = RecallWaitingSerializer(many=True)
    came_back = RecallReturnSerializer(many=True, source="back")
    unnamed = RecallUnnamedSerializer(many=True)
    handed_back = RecallHandedBackSerializer(many=True)
    to_be_settled = RecallShortageSerializer(many=True, source="shortages")


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


class RecallView(ApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="recall", parameters=[CODE, LOT], responses=RecallFoundSerializer)
    def get(self, request):
        """Say who has what was made of a lot, where the rest is, and whether that is all of it."""
        roots, matches = _chosen(request), []
        if not roots:
            found = recalled_lots.find(request.query_params.get("code", ""))
            matches = found.matches
            roots = [lot.pk for lot in found.meant] if found.is_certain else []
        answer = recall.answer(roots) if roots else None
        made = RecallFoundSerializer({"matches": matches, "answer": answer})
        return Response(made.data)


class RecallSalesView(ListApiView):
    """Every sale with a name of the lots and of all that was made from them, buyer by buyer."""

    permission_classes = [BuyersPermission]
    serializer_class = RecallSaleSerializer

    @extend_schema(operation_id="recall_sales", parameters=[CODE, LOT])
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet[FulfilmentLine]:
        roots = _chosen(self.request)
        if not roots:
            found = recalled_lots.find(self.request.query_params.get("code", ""))
            roots = [lot.pk for lot in found.meant] if found.is_certain else []
        return trace.named(Lot.objects.family_keys(roots))

    def rows(self, page: list[Any]) -> Any:
        return trace.sale_rows(page)
