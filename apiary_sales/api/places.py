"""Places through the API: tanks, drums, shelves, the stand and the van, added and changed."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.fields import GramsCountField, rows_of
from apiary_sales.api.serializers import (
    PlaceSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import REFUSALS, ApiActView
from inventory.stock.models import Place, TankShape
from inventory.stock.services import places
from inventory.stock.services.places import CAPACITY_LITRES_MAX, DRUMS_MAX, MEASURE_MM_MAX, Shape

MANAGE_PLACES = "inventory.manage_places"
POINTS_MAX = 500


class MillimetresField(StrictIntegerField):
    """A measure inside a vessel."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=MEASURE_MM_MAX, **kwargs)


class LitresField(StrictDecimalField):
    """What a vessel holds."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            max_digits=9, decimal_places=3, min_value=0, max_value=CAPACITY_LITRES_MAX, **kwargs
        )


class CalibrationPointSerializer(serializers.Serializer):
    """A depth of honey, and the litres that stand at it."""

    depth_mm = MillimetresField()
    litres = LitresField()

    def validate(self, attrs: dict[str, Any]) -> Any:
        return attrs["depth_mm"], attrs["litres"]


class ShapeSerializer(serializers.Serializer):
    """The inside measures of a vessel; `points` are for the form `table` alone."""

    form = serializers.ChoiceField(TankShape.Form.choices)
    diameter_mm = MillimetresField(required=False, allow_null=True)
    length_mm = MillimetresField(
        required=False,
        allow_null=True,
        help_text="The height of an upright tank's straight wall, the length of a lying one's.",
    )
    end = serializers.ChoiceField(TankShape.End.choices, required=False)
    cone_mm = MillimetresField(required=False, allow_null=True)
    points = rows_of(CalibrationPointSerializer, required=False, max_length=POINTS_MAX)

    def validate(self, attrs: dict[str, Any]) -> Any:
        return Shape(**attrs)


class PlaceToChangeSerializer(serializers.Serializer):
    """What is known of a place; what is left out is emptied."""

    name = StrictCharField(max_length=80)
    tare_grams = GramsCountField(required=False, allow_null=True, min_value=0)
    capacity_litres = LitresField(required=False, allow_null=True)
    shape = ShapeSerializer(
        required=False, allow_null=True, help_text="With a shape, it gives the capacity."
    )
    note = StrictCharField(required=False, allow_blank=True, max_length=200)


class PlaceToAddSerializer(PlaceToChangeSerializer):
    """A place where honey or goods are kept; `code` is its short name in addresses."""

    kind = serializers.ChoiceField([*Place.VESSELS, *Place.FOR_GOODS])
    code = StrictCharField(max_length=40)


class DrumsToAddSerializer(serializers.Serializer):
    """Drums in a row: D-001 and a count of 20 make D-001 to D-020."""

    first_code = StrictCharField(max_length=40)
    count = StrictIntegerField(min_value=1, max_value=DRUMS_MAX)
    tare_grams = GramsCountField(required=False, allow_null=True, min_value=0)
    capacity_litres = LitresField(required=False, allow_null=True)


def place_of(code: str) -> Place:
    """Return a vessel, or a place for goods; raises `Http404`."""
    kinds = (*Place.VESSELS, *Place.FOR_GOODS)
    return get_object_or_404(Place.objects.select_related("shape"), code=code, kind__in=kinds)


class PlacesAddApiView(ApiActView):
    permission_required = MANAGE_PLACES
    serializer_class = PlaceToAddSerializer

    @extend_schema(responses={201: PlaceSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add a place. Sent twice, the second is refused, because the short name is taken."""
        made = places.create(**self.checked())
        return Response(PlaceSerializer(made).data, status=status.HTTP_201_CREATED)


class DrumsAddApiView(ApiActView):
    permission_required = MANAGE_PLACES
    serializer_class = DrumsToAddSerializer

    @extend_schema(responses={201: PlaceSerializer(many=True), **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add drums in a row; none is added where one of them is there already."""
        made = places.create_drums(**self.checked())
        return Response(PlaceSerializer(made, many=True).data, status=status.HTTP_201_CREATED)


class PlaceChangeApiView(ApiActView):
    permission_required = MANAGE_PLACES
    serializer_class = PlaceToChangeSerializer

    @extend_schema(responses={200: PlaceSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Change what is known of a place; its kind and short name stay."""
        made = places.change(place=place_of(code), **self.checked())
        return Response(PlaceSerializer(made).data)


class PlaceOutOfUseApiView(ApiActView):
    permission_required = MANAGE_PLACES
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: PlaceSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Take an empty place out of use."""
        return Response(PlaceSerializer(places.take_out_of_use(place=place_of(code))).data)


class PlaceInUseApiView(ApiActView):
    permission_required = MANAGE_PLACES
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: PlaceSerializer, **REFUSALS})
    def post(self, request: Request, code: str) -> Response:
        """Take a place back into use."""
        return Response(PlaceSerializer(places.put_in_use(place=place_of(code))).data)
