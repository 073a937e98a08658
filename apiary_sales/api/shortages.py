"""What was taken although the books had none of it, through the API."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import generics, serializers
from rest_framework.response import Response

from apiary_sales.api.views import ViewPermission
from inventory.stock.models import Shortage
from inventory.stock.queries import shortages
from inventory.stock.queries.shortages import ShortageRow

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
    quantity = serializers.IntegerField()
    unit = serializers.SerializerMethodField()
    lot = serializers.SerializerMethodField()
    place = serializers.SerializerMethodField()
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


class ShortagesApiView(generics.ListAPIView):
    """What is to be settled, the oldest day first."""

    permission_classes = [ViewPermission]
    serializer_class = ShortageSerializer
    queryset = Shortage.objects.none()

    @extend_schema(parameters=[SETTLED])
    def get(self, request: Any, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet[Shortage]:
        is_settled = self.request.query_params.get("settled", "").lower() in ("true", "1")
        return shortages.settled() if is_settled else shortages.to_settle()

    def paginate_queryset(self, queryset: Any) -> Any:
        page = super().paginate_queryset(queryset)
        return None if page is None else shortages.rows(page)
