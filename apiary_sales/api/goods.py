"""Other goods through the API: received from suppliers, and made or gathered by the house."""

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.response import Response

from apiary_sales.api.answers import AnswerSerializer
from apiary_sales.api.fields import (
    CountedActView,
    CountedSerializer,
    GramsCountField,
    MinutesCountField,
    PiecesCountField,
    StoreCodeField,
    counted,
    rows_of,
)
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    StrictCharField,
    StrictIntegerField,
    unit_of,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS
from inventory.bottling.models import GoodsMade, GoodsReceipt, PackagingPart, Product
from inventory.bottling.services import goods
from inventory.bottling.services.goods import Material
from inventory.shared.people import person_of
from inventory.stock import lot_codes

MANAGE_PARTS = "inventory.manage_parts"
# More different things never go into one.
ROWS_MAX = 30


class GoodsToReceiveSerializer(CountedSerializer):
    """Goods from a supplier, whose name is added where it is new: pieces, or grams by weight."""

    product = CodeField(queryset=Product.objects.of_goods())
    place = StoreCodeField()
    cost_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, help_text="What all of it cost."
    )
    supplier = StrictCharField(max_length=120)
    received_on = serializers.DateField()
    maker_lot = StrictCharField(
        required=False, allow_blank=True, max_length=lot_codes.CODE_LENGTH_MAX
    )
    best_by = serializers.DateField(required=False, allow_null=True)


class MaterialSerializer(serializers.Serializer):
    """Goods or a part that went in, and what was lost of it; grams for goods by weight."""

    product = CodeField(queryset=Product.objects.of_goods(), required=False, allow_null=True)
    part = CodeField(queryset=PackagingPart.objects.all(), required=False, allow_null=True)
    pieces = PiecesCountField(required=False, allow_null=True)
    grams = GramsCountField(required=False, allow_null=True)
    lost_pieces = PiecesCountField(required=False, min_value=0, allow_null=True)
    lost_grams = GramsCountField(required=False, min_value=0, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> Any:
        product, part = attrs.get("product"), attrs.get("part")
        thing = product or part
        if thing is None or (product and part):
            raise serializers.ValidationError(
                {"product": _("Send a product or a part, one of the two.")}
            )
        right, wrong = ("grams", "pieces") if thing.item.is_weighed else ("pieces", "grams")
        much = counted(right, attrs.get(right), wrong, attrs.get(wrong), thing.name)
        lost = attrs.get(f"lost_{right}") or 0
        if attrs.get(f"lost_{wrong}"):
            counted(f"lost_{right}", lost, f"lost_{wrong}", attrs[f"lost_{wrong}"], thing.name)
        return Material(thing, much, lost)


class GoodsToMakeSerializer(CountedSerializer):
    """Goods made of materials, or gathered where there are none: pieces, or grams by weight."""

    product = CodeField(queryset=Product.objects.of_goods())
    place = StoreCodeField()
    made_on = serializers.DateField()
    materials = rows_of(MaterialSerializer, required=False, max_length=ROWS_MAX)
    labour_minutes = MinutesCountField()
    lot_code = StrictCharField(
        required=False, allow_blank=True, max_length=lot_codes.CODE_LENGTH_MAX
    )
    best_by = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class GoodsComeSerializer(AnswerSerializer):
    """What came in, in its `unit`: grams or pieces."""

    product = serializers.CharField(source="product.code")
    lot = serializers.CharField(source="lot.code")
    place = serializers.CharField(source="place.code")
    quantity = serializers.IntegerField()
    unit = serializers.SerializerMethodField()
    posting = serializers.IntegerField(source="posting_id")

    def get_unit(self, come: GoodsReceipt | GoodsMade) -> str:
        return unit_of(come.product.item)


class GoodsReceiptsApiView(CountedActView):
    permission_required = MANAGE_PARTS
    serializer_class = GoodsToReceiveSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: GoodsComeSerializer, **REFUSALS})
    def post(self, request):
        """Bring goods in from a supplier; a delivery with a maker's code joins its lot."""
        key = self.key()
        made = goods.receive(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(GoodsComeSerializer(made).data, status=status.HTTP_201_CREATED)


class GoodsMadeApiView(CountedActView):
    permission_required = MANAGE_PARTS
    serializer_class = GoodsToMakeSerializer
    materials: Sequence[Material] = ()

    def checked(self) -> dict[str, Any]:
        data = super().checked()
        self.materials = data.get("materials", ())
        return data

    def field_of(self, parameter: str | None) -> str | None:
        """Return where a material or its quantity was sent, in what it is counted in."""
        inside, _dot, name = (parameter or "").rpartition(".")
        if not inside.startswith("materials."):
            return super().field_of(parameter)
        thing = self.materials[int(inside.removeprefix("materials."))].thing
        unit = unit_of(thing.item)
        sent_as = {
            "thing": "product" if isinstance(thing, Product) else "part",
            "quantity": unit,
            "lost": f"lost_{unit}",
        }
        return f"{inside}.{sent_as[name]}"

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: GoodsComeSerializer, **REFUSALS})
    def post(self, request):
        """Make goods of other goods and parts, or gather them."""
        key = self.key()
        made = goods.make(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(GoodsComeSerializer(made).data, status=status.HTTP_201_CREATED)
