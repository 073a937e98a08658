"""Jars with which the books begin, through the API."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.response import Response

from apiary_sales.api.fields import PiecesCountField, StoreCodeField
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
from inventory.bottling.services import opening_stock
from inventory.shared.people import person_of
from inventory.stock import lot_codes


class OpeningJarsSerializer(serializers.Serializer):
    """Jars that were filled before the books began, with the code that is printed on them."""

    product = CodeField(queryset=Product.objects.all())
    place = StoreCodeField()
    pieces = PiecesCountField()
    lot_code = StrictCharField(max_length=lot_codes.CODE_LENGTH_MAX)
    floral_source = StrictCharField(max_length=120)
    season = StrictIntegerField(min_value=1900, max_value=2200)
    bottled_on = serializers.DateField()
    begins_on = serializers.DateField()
    best_by = serializers.DateField(required=False, allow_null=True)
    cost_cents = StrictIntegerField(
        required=False, allow_null=True, min_value=0, max_value=CENTS_MAX
    )
    colour_mm = StrictDecimalField(max_digits=4, decimal_places=1, required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class OpeningJarsApiView(ApiActView):
    permission_required = "inventory.run_bottling"
    serializer_class = OpeningJarsSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: LotSerializer, **REFUSALS})
    def post(self, request):
        """Put jars in the books that were filled before they began."""
        key = self.key()
        made = opening_stock.receive_jars(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(LotSerializer(made).data, status=status.HTTP_201_CREATED)
