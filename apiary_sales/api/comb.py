"""Comb honey through the API: received from the hives, and cut into pieces."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.response import Response

from apiary_sales.api.answers import AnswerSerializer
from apiary_sales.api.bottling import CombAtSerializer
from apiary_sales.api.fields import (
    CountedActView,
    CountedSerializer,
    GramsCountField,
    PiecesCountField,
    StoreCodeField,
    VesselCodeField,
)
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    LotSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from inventory.bottling.models import Product
from inventory.bottling.services import comb
from inventory.shared.people import person_of
from inventory.stock import lot_codes

OF_COMB = Product.objects.filter(form=Product.Form.COMB).select_related("item", "size")


class CombToReceiveSerializer(CountedSerializer):
    """Comb from the hives: pieces, or grams of comb that is counted by weight."""

    product = CodeField(queryset=OF_COMB)
    place = StoreCodeField()
    season = StrictIntegerField(min_value=1900, max_value=2200)
    floral_source = StrictCharField(max_length=120)
    yard = StrictCharField(max_length=120, required=False, allow_blank=True)
    harvested_on = serializers.DateField()
    cost_cents = StrictIntegerField(
        required=False, allow_null=True, min_value=0, max_value=CENTS_MAX
    )
    lot_code = StrictCharField(
        required=False, allow_blank=True, max_length=lot_codes.CODE_LENGTH_MAX
    )
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class CombToCutSerializer(serializers.Serializer):
    """Comb by weight that is cut; `drained_grams` of it went into a vessel."""

    comb = CombAtSerializer()
    comb_grams = GramsCountField()
    product = CodeField(queryset=OF_COMB)
    pieces = PiecesCountField()
    target = StoreCodeField()
    loss_grams = GramsCountField(min_value=0, required=False)
    drained_grams = GramsCountField(min_value=0, required=False)
    vessel = VesselCodeField(required=False, allow_null=True)
    moisture_percent = StrictDecimalField(
        max_digits=4, decimal_places=2, required=False, allow_null=True
    )
    cut_on = serializers.DateField(required=False, allow_null=True)
    lot_code = StrictCharField(
        required=False, allow_blank=True, max_length=lot_codes.CODE_LENGTH_MAX
    )
    figures_are_right = serializers.BooleanField(required=False)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class CombCutSerializer(AnswerSerializer):
    """The lot of pieces, and the lot of the honey that drained from the comb, if any."""

    lot = LotSerializer(source="packed_lot")
    drained_lot = serializers.CharField(source="drained_lot.code", default=None)
    comb_grams = serializers.IntegerField()
    drained_grams = serializers.IntegerField()
    loss_grams = serializers.IntegerField()
    posting = serializers.IntegerField(source="posting_id")


class CombReceiptsApiView(CountedActView):
    permission_required = "inventory.move_honey"
    serializer_class = CombToReceiveSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: LotSerializer, **REFUSALS})
    def post(self, request):
        """Bring comb from the hives to a shelf, as a lot."""
        key = self.key()
        made = comb.receive(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(LotSerializer(made).data, status=status.HTTP_201_CREATED)


class CombCutsApiView(ApiActView):
    permission_required = "inventory.run_bottling"
    serializer_class = CombToCutSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: CombCutSerializer, **REFUSALS})
    def post(self, request):
        """Cut comb into pieces."""
        key = self.key()
        made = comb.cut(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(CombCutSerializer(made).data, status=status.HTTP_201_CREATED)
