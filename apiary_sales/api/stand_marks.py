"""Sales that somebody should look at, and those that were given to the office, through the API."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.fields import IdField, StoreCodeField, rows_of
from apiary_sales.api.idempotency import checked_key
from apiary_sales.api.serializers import (
    CodeField,
    StandSaleMadeSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.stand_records import (
    HandedInRowsApiView,
    HandedInSaleSerializer,
    MarkedSaleSerializer,
)
from apiary_sales.api.views import REFUSALS, ApiActView, key_in_books
from apiary_sales.billing.forms import stand_messages
from apiary_sales.billing.forms.stand_marks import mended
from apiary_sales.billing.models import HandedInSale, StandSale
from apiary_sales.billing.services import handed_in, stand_marks
from apiary_sales.orders.rules.lines import LINES_MAX
from inventory.bottling.models import Product
from inventory.shared import keys
from inventory.shared.people import person_of
from inventory.stock.rules import PIECES_MAX

SEE = "billing.view_money"
SALES_MAX = 200


class MarksToSeeSerializer(serializers.Serializer):
    """That somebody looked at a sale, with a note."""

    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class ShortToSeeSerializer(serializers.Serializer):
    """Sales that somebody looked at together, by their keys."""

    sales = serializers.ListField(
        child=IdField(queryset=StandSale.objects.all()), allow_empty=False, max_length=SALES_MAX
    )


class ShortSeenSerializer(serializers.Serializer):
    """Of how many sales the marks are seen now: those with another mark stay."""

    count = serializers.IntegerField()


class SaleToHandInSerializer(serializers.Serializer):
    """A sale that could not be booked: as it is in the till, in words, and why.

    `key` is the one with which its till sent it, and may send it again.
    """

    key = StrictCharField(max_length=keys.LENGTH_MAX)
    body = serializers.DictField()
    text = StrictCharField(max_length=stand_messages.TEXT_MAX)
    reason = StrictCharField(required=False, allow_blank=True, max_length=stand_messages.TEXT_MAX)
    device = StrictCharField(required=False, allow_blank=True, max_length=64)


class LineToMendSerializer(serializers.Serializer):
    """What a line is to be."""

    product = CodeField(queryset=Product.objects.for_sale())
    pieces = StrictIntegerField(min_value=1, max_value=PIECES_MAX, source="quantity")
    unit_price = StrictDecimalField(max_digits=12, decimal_places=4, min_value=0)


class SaleToMendSerializer(serializers.Serializer):
    """What is put right before it is booked; what was weighed out stays as it is.

    `lines` are those in pieces, in their order, all of them.
    """

    place = StoreCodeField()
    lines = rows_of(LineToMendSerializer, max_length=LINES_MAX)


class SaleToSetAsideSerializer(serializers.Serializer):
    """Why a sale is not booked, or what was booked instead."""

    note = StrictCharField(max_length=300)


class SaleMarksApiView(ApiActView):
    permission_required = SEE
    serializer_class = MarksToSeeSerializer

    @extend_schema(responses={200: MarkedSaleSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Say that somebody looked at the marks of a sale, by its receipt."""
        sale = get_object_or_404(StandSale.objects.select_related("receipt", "place"), receipt=pk)
        made = stand_marks.see(sale=sale, **self.checked(), seen_by=person_of(request))
        return Response(MarkedSaleSerializer(made).data)


class ShortMarksApiView(ApiActView):
    permission_required = SEE
    serializer_class = ShortToSeeSerializer

    @extend_schema(responses={200: ShortSeenSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Say that somebody looked at sales which were only short of goods."""
        count = stand_marks.see_short(**self.checked(), seen_by=person_of(request))
        return Response(ShortSeenSerializer({"count": count}).data)


class HandedInSalesApiView(ApiActView, HandedInRowsApiView):
    permission_required = stand_messages.SELL
    permission_to_read = SEE
    serializer_class: type[serializers.Serializer] = SaleToHandInSerializer
    row_serializer_class = HandedInSaleSerializer

    @extend_schema(operation_id="handed_in_sales_list", responses=HandedInSaleSerializer(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the sales that were given to the office and wait to be settled, newest first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        request=SaleToHandInSerializer,
        responses={201: HandedInSaleSerializer, **REFUSALS},
    )
    def post(self, request: Request) -> Response:
        """Give a sale to the office; the same key of a sale gives what was kept first."""
        data = self.checked()
        key = key_in_books(request, checked_key(data.pop("key")))
        # Whatever its till called it, it is booked under the key by which its till may send it.
        data["body"] = {**data["body"], "key": key}
        made = handed_in.hand_in(key=key, **data, handed_in_by=person_of(request))
        return Response(HandedInSaleSerializer(made).data, status=status.HTTP_201_CREATED)


class HandedInActView(ApiActView):
    """An act on one sale that was given to the office."""

    permission_required = SEE

    def handed_in(self) -> HandedInSale:
        return get_object_or_404(HandedInSale, pk=self.kwargs["pk"])


class HandedInBookApiView(HandedInActView):
    serializer_class = SaleToMendSerializer

    @extend_schema(responses={201: StandSaleMadeSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Put right what is wrong in a sale, and book it; one that is settled is refused."""
        found = self.handed_in()
        data = self.checked()
        body = mended(found.body, place=data["place"], lines=data["lines"])
        sale = stand_messages.parse_sale(body)
        made = handed_in.book(handed_in=found, settled_by=person_of(request), **sale)
        return Response(StandSaleMadeSerializer(made).data, status=status.HTTP_201_CREATED)


class HandedInSetAsideApiView(HandedInActView):
    serializer_class = SaleToSetAsideSerializer

    @extend_schema(responses={200: HandedInSaleSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Say why a sale is not booked; one that is settled is refused."""
        made = handed_in.settle(
            handed_in=self.handed_in(), **self.checked(), settled_by=person_of(request)
        )
        return Response(HandedInSaleSerializer(made).data)
