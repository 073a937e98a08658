"""Sizes and layouts of labels through the API: added, changed, taken out of use."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.fields import (
    GramsCountField,
    PiecesCountField,
    StrictModelSerializer,
    rows_of,
)
from apiary_sales.api.products import MANAGE_PARTS, ROWS_MAX, PartUseSerializer
from apiary_sales.api.serializers import (
    SizeSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import REFUSALS, ApiActView
from inventory.bottling.models import LabelSheet, Size
from inventory.bottling.services import label_sheets, sizes

MONTHS_MAX = 1_200


class SizeToChangeSerializer(serializers.Serializer):
    """A size with the net weight of its label; `parts` are what one piece is made up from.

    What is left out takes its usual value; without `parts` those of a size stay.
    """

    name = StrictCharField(max_length=60)
    declared_amount = StrictDecimalField(max_digits=8, decimal_places=3)
    declared_unit = serializers.ChoiceField(Size.Unit.choices)
    brimful_ml = StrictDecimalField(max_digits=8, decimal_places=1)
    tare_grams = GramsCountField(required=False, min_value=0)
    pieces_per_case = PiecesCountField(required=False)
    gtin = StrictCharField(required=False, allow_blank=True, max_length=20)
    best_by_months = StrictIntegerField(required=False, min_value=0, max_value=MONTHS_MAX)
    low_stock_pieces = PiecesCountField(required=False, min_value=0)
    parts = rows_of(PartUseSerializer, required=False, allow_null=True, max_length=ROWS_MAX)


class SizeToAddSerializer(SizeToChangeSerializer):
    """A new size; its short name is made from the name unless it is given."""

    code = StrictCharField(required=False, allow_blank=True, max_length=20)


class LabelSheetSerializer(serializers.ModelSerializer):
    """How labels are arranged on a sheet or a roll, in millimetres."""

    class Meta:
        model = LabelSheet
        fields = [
            "id",
            "code",
            "name",
            "paper",
            "label_width_mm",
            "label_height_mm",
            "columns",
            "rows",
            "margin_left_mm",
            "margin_top_mm",
            "gap_x_mm",
            "gap_y_mm",
            "offset_x_mm",
            "offset_y_mm",
            "corner_radius_mm",
            "is_active",
        ]


class LabelSheetToSaveSerializer(StrictModelSerializer):
    """How labels are arranged; what is left out takes its usual value."""

    class Meta:
        model = LabelSheet
        fields = LabelSheetSerializer.Meta.fields[2:]
        # The service says that a name is taken.
        extra_kwargs: dict[str, dict[str, Any]] = {
            "name": {"validators": []},
            "paper": {"required": True},
        }


class SizesAddApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = SizeToAddSerializer

    @extend_schema(responses={201: SizeSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add a size with its standard product. Sent twice, the second is refused."""
        made = sizes.save(**self.checked())
        return Response(SizeSerializer(made).data, status=status.HTTP_201_CREATED)


class UsualSizesApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={201: SizeSerializer(many=True), **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add the usual sizes that are not there yet; those that were added are the answer."""
        made = sizes.add_usual_sizes()
        return Response(SizeSerializer(made, many=True).data, status=status.HTTP_201_CREATED)


class SizeChangeApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = SizeToChangeSerializer

    @extend_schema(responses={200: SizeSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Change a size; its short name stays."""
        size = get_object_or_404(Size, code=code)
        return Response(SizeSerializer(sizes.save(size=size, **self.checked())).data)


class SizeOutOfUseApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: SizeSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Offer a size no longer; pieces that are filled can still be sold."""
        size = get_object_or_404(Size, code=code)
        return Response(SizeSerializer(sizes.take_out_of_use(size=size)).data)


class SizeInUseApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: SizeSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Offer a size again."""
        size = get_object_or_404(Size, code=code)
        return Response(SizeSerializer(sizes.put_back_in_use(size=size)).data)


class LabelSheetsAddApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = LabelSheetToSaveSerializer

    @extend_schema(responses={201: LabelSheetSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add a layout of labels. Sent twice, the second is refused: the name is taken."""
        made = label_sheets.save(**self.checked())
        return Response(LabelSheetSerializer(made).data, status=status.HTTP_201_CREATED)


class LabelSheetChangeApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = LabelSheetToSaveSerializer

    @extend_schema(responses={200: LabelSheetSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Change a layout of labels; its short name stays."""
        sheet = get_object_or_404(LabelSheet, code=code)
        made = label_sheets.save(sheet=sheet, **self.checked())
        return Response(LabelSheetSerializer(made).data)
