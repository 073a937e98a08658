"""Holds through the API: lots that a recall keeps from sale, and lots released again."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api.fields import LotsField
from apiary_sales.api.serializers import LotSerializer, StrictCharField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from apiary_sales.orders.services import recalls
from inventory.bottling.services import holds
from inventory.shared.people import person_of
from inventory.stock.models import Lot

RELEASE_HOLD = "inventory.release_hold"


class HeldLotSerializer(serializers.Serializer):
    id = serializers.IntegerField()
    code = serializers.CharField()
    product = serializers.CharField(source="what")
    product_id = serializers.IntegerField(allow_null=True)
    is_on_hold = serializers.BooleanField()


class LotsChangedSerializer(serializers.Serializer):
    """The lots whose holds changed, and those that stay on hold as they were."""

    changed = HeldLotSerializer(many=True)
    left = HeldLotSerializer(many=True)


class LotsWithReasonSerializer(serializers.Serializer):
    """Lots by their keys, as `lots/` gives them; all that they went into follows."""

    lots = LotsField()
    reason = StrictCharField(max_length=300)


class ReleaseReasonSerializer(serializers.Serializer):
    reason = StrictCharField(max_length=300)


class HoldsApiView(ApiActView):
    permission_required = "inventory.run_bottling"
    serializer_class = LotsWithReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: LotsChangedSerializer, **REFUSALS})
    def post(self, request):
        """Put lots and all they went into on hold because of a recall."""
        key = self.key()
        made = recalls.hold(**self.checked(), held_by=person_of(request), key=key)
        return Response(LotsChangedSerializer(made).data)


class HoldsReleaseApiView(ApiActView):
    permission_required = RELEASE_HOLD
    serializer_class = LotsWithReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: LotsChangedSerializer, **REFUSALS})
    def post(self, request):
        """Release what a recall of just these lots holds, and nothing else."""
        key = self.key()
        made = recalls.release(**self.checked(), released_by=person_of(request), key=key)
        return Response(LotsChangedSerializer(made).data)


class LotReleaseApiView(ApiActView):
    permission_required = RELEASE_HOLD
    serializer_class = ReleaseReasonSerializer

    @extend_schema(responses={200: LotSerializer, **REFUSALS})
    def post(self, request, code: str, product: str):
        """Release one lot of all that holds it, such as a failed fill check.

        `product` is the short name of its product, or `in-bulk`. A lot that is not on hold is
        refused.
        """
        lots = Lot.objects.select_related("product__item")
        lot = get_object_or_404(lots.bearing(code, product))
        made = holds.release_lot(lot=lot, **self.checked(), released_by=person_of(request))
        return Response(LotSerializer(made).data)
