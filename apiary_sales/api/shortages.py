"""What was taken although the books had none of it, through the API."""

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.bases import ListApiView
from apiary_sales.api.fields import IdField
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import PostingSerializer, StrictCharField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from inventory.shared.people import person_of
from inventory.stock.models import Lot, Shortage
from inventory.stock.queries import shortages
from inventory.stock.queries.shortages import ShortageRow
from inventory.stock.services import shortages as services
from inventory.stock.services.shortages import How

ADJUST_STOCK = "inventory.adjust_stock"

SETTLED = OpenApiParameter(
    "settled", OpenApiTypes.BOOL, description="`true` lists what is settled instead."
)


class ShortageSerializer(serializers.Serializer):
    """So much of something that an act took although the books had none of it.

    `lot` is null where it is unknown, `place` for parts of any shelf, `settled_by` while it is
    open. `quantity` is in its `unit`.
    """

    id = serializers.IntegerField(source="key")
    kind = serializers.CharField()
    item = serializers.CharField(source="what")
    item_id = serializers.IntegerField(source="item_key")
    quantity = serializers.IntegerField()
    unit = serializers.SerializerMethodField()
    lot = serializers.SerializerMethodField()
    place = serializers.SerializerMethodField()
    lot_id = serializers.IntegerField(source="lot_key", allow_null=True)
    place_id = serializers.IntegerField(source="place_key", allow_null=True)
    posting = serializers.IntegerField()
    day = serializers.DateField()
    entered_on = serializers.DateField()
    recorded_by = serializers.CharField(source="who")
    settled_by = serializers.IntegerField(allow_null=True)

    def get_unit(self, row: ShortageRow) -> str:
        return "grams" if row.is_weighed else "pieces"

    def get_lot(self, row: ShortageRow) -> str | None:
        return row.lot or None

    def get_place(self, row: ShortageRow) -> str | None:
        return row.place_code or None


class ShortageToSettleSerializer(serializers.Serializer):
    """What is known of a shortage: the books were wrong, or it came from what is there now."""

    how = serializers.ChoiceField(How.choices)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class LotToNameSerializer(serializers.Serializer):
    """The key of the lot, as `lots/` gives it."""

    lot = IdField(queryset=Lot.objects.filter(product=None).exclude(kind=Lot.Kind.UNKNOWN))
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class ShortageSettleApiView(ApiActView):
    permission_required = ADJUST_STOCK
    serializer_class = ShortageToSettleSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: PostingSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Settle what was short by what a person knows."""
        shortage = get_object_or_404(Shortage, pk=pk)
        key = self.key()
        made = services.settle(
            shortage=shortage, **self.checked(), settled_by=person_of(request), key=key
        )
        return Response(PostingSerializer(made).data)


class ShortageLotApiView(ApiActView):
    permission_required = ADJUST_STOCK
    serializer_class = LotToNameSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: PostingSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Say of which lot honey was whose lot nobody knew; it stays short."""
        shortage = get_object_or_404(Shortage, pk=pk)
        key = self.key()
        made = services.name_lot(
            shortage=shortage, **self.checked(), named_by=person_of(request), key=key
        )
        return Response(PostingSerializer(made).data)


class ShortagesApiView(ListApiView):
    """What is to be settled, the oldest day first."""

    filterset_class = filters.ShortageListFilters
    ordering_fields = ordered_by("id", day="posting__occurred_at")
    permission_classes = [ViewPermission]
    serializer_class = ShortageSerializer
    queryset = Shortage.objects.none()

    @extend_schema(parameters=[SETTLED])
    def get(self, request: Any, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet[Shortage]:
        settled = self.request.query_params.get("settled", "false")
        if settled not in ("true", "false"):
            raise ValidationError({"settled": _("Send true or false.")})
        return shortages.settled() if settled == "true" else shortages.to_settle()

    def rows(self, page: list[Any]) -> Any:
        return shortages.rows(page)
