"""Dip readings through the API: taken, and accepted into the books."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.fields import VesselCodeField
from apiary_sales.api.honey_in_hand import DipReadingSerializer
from apiary_sales.api.serializers import (
    PostingSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.shared.people import person_of
from inventory.stock.queries import honey as queries
from inventory.stock.services import dips
from inventory.stock.services.places import MEASURE_MM_MAX


class DipToTakeSerializer(serializers.Serializer):
    """How deep the honey in a vessel is, and how warm; read now, or on an earlier day."""

    place = VesselCodeField()
    depth_mm = StrictIntegerField(min_value=1, max_value=MEASURE_MM_MAX)
    celsius = StrictDecimalField(max_digits=4, decimal_places=1)
    read_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class DipToAcceptSerializer(serializers.Serializer):
    """Why the books should follow the dip."""

    reason = StrictCharField(max_length=200)


class DipsTakeApiView(ApiActView):
    permission_required = "inventory.move_honey"
    serializer_class = DipToTakeSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: DipReadingSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Keep a dip reading; the books are not changed by it."""
        key = self.key()
        made = dips.record(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(DipReadingSerializer(made).data, status=status.HTTP_201_CREATED)


class DipAcceptApiView(ApiActView):
    permission_required = "inventory.adjust_stock"
    serializer_class = DipToAcceptSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Correct the books to a dip, at the time it was read."""
        reading = get_object_or_404(queries.dips(), pk=pk)
        key = self.key()
        made = dips.accept(
            reading=reading, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)
