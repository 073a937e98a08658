"""Packaging parts through the API: what a supplier asks for one now."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.serializers import StrictDecimalField
from apiary_sales.api.views import REFUSALS, ApiActView
from inventory.bottling.models import PackagingPart
from inventory.bottling.services import parts


class PartQuoteSerializer(serializers.Serializer):
    """The price of one, null to take it off, and the day of the quote; today when left out."""

    unit_price = StrictDecimalField(max_digits=12, decimal_places=4, min_value=0, allow_null=True)
    quoted_on = serializers.DateField(required=False, allow_null=True)


class QuotedPartSerializer(serializers.ModelSerializer):
    """A part with its quoted price."""

    class Meta:
        model = PackagingPart
        fields = ["code", "name", "kind", "quoted_price", "quoted_on"]


class PartQuoteApiView(ApiActView):
    permission_required = "inventory.manage_parts"
    serializer_class = PartQuoteSerializer

    @extend_schema(responses={200: QuotedPartSerializer, **REFUSALS})
    def put(self, request: Request, code: str) -> Response:
        """Note what a supplier asks for one of a part."""
        part = get_object_or_404(PackagingPart, code=code)
        return Response(QuotedPartSerializer(parts.quote(part=part, **self.checked())).data)
