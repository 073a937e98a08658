"""Honey and goods moved through the API: blended, drained, carried; and postings undone."""

from typing import Any

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.counts import ThingSerializer
from apiary_sales.api.fields import (
    GoodsPlaceCodeField,
    GramsCountField,
    VesselCodeField,
    rows_of,
)
from apiary_sales.api.lots import in_bulk
from apiary_sales.api.serializers import LotSerializer, PostingSerializer, StrictCharField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.bottling.services import reversals
from inventory.shared.people import person_of
from inventory.stock.queries import honey as queries
from inventory.stock.services import drums, honey, lots, stores

MOVE_HONEY = "inventory.move_honey"
SOURCES_MAX = 100


class PouredSourceSerializer(serializers.Serializer):
    """Honey out of one vessel; `grams` null for all that is in it."""

    place = VesselCodeField()
    grams = GramsCountField(allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> Any:
        return attrs["place"], attrs["grams"]


class BlendToPourSerializer(serializers.Serializer):
    """Honey of several vessels poured into one: now, or on an earlier day."""

    sources = rows_of(PouredSourceSerializer, allow_empty=False, max_length=SOURCES_MAX)
    target = VesselCodeField()
    poured_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class VesselToDrainSerializer(serializers.Serializer):
    """A vessel emptied into another: now, or on an earlier day."""

    drum = VesselCodeField()
    target = VesselCodeField()
    drained_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class StockToCarrySerializer(ThingSerializer):
    """Pieces carried from one place to another; grams of goods by weight."""

    # The metaclass takes fields out of the class, so they may be called as attributes of it.
    source = GoodsPlaceCodeField()  # type: ignore[assignment]
    target = GoodsPlaceCodeField()
    pieces = GramsCountField()
    carried_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class LotOriginSerializer(serializers.Serializer):
    """Where honey was harvested; empty where it is not known."""

    country = StrictCharField(allow_blank=True, max_length=2, help_text="Of ISO 3166-1.")
    region = StrictCharField(allow_blank=True, max_length=80)


class PostingToUndoSerializer(serializers.Serializer):
    """Why it is undone."""

    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class HoneyBlendsApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = BlendToPourSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Pour honey from several vessels into one."""
        key = self.key()
        made = honey.blend(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)


class VesselsDrainedApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = VesselToDrainSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Empty a vessel into another, to the last gram on the books."""
        key = self.key()
        made = drums.drain(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)


class StockTransfersApiView(ApiActView):
    # Whoever may write stock off may carry it too.
    permission_required = (MOVE_HONEY, "inventory.write_off")
    one_permission_is_enough = True
    serializer_class = StockToCarrySerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Carry jars, goods or parts from one shelf, stand or van to another."""
        key = self.key()
        made = stores.transfer(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)


class LotOriginApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = LotOriginSerializer

    @extend_schema(responses={200: LotSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Say where honey that came in was harvested; sent twice, the second changes nothing."""
        made = lots.set_origin(lot=in_bulk(code), **self.checked())
        return Response(LotSerializer(made).data)


class PostingUndoApiView(ApiActView):
    permission_required = "inventory.reverse_posting"
    serializer_class = PostingToUndoSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Undo what happened to stock; the reversal is the answer."""
        posting = queries.posting(pk)
        if posting is None:
            raise Http404
        key = self.key()
        made = reversals.reverse(
            posting=posting, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)
