"""Part of a stand sale comes back, and returns that the office approves, through the API."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ListApiView, RetrieveApiView
from apiary_sales.api.fields import IdField, StoreCodeField, rows_of
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    InvoiceSerializer,
    StrictCharField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.billing.models import Invoice, InvoiceLine, Payment, ReturnRequest
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.queries import stand_returns as queries
from apiary_sales.billing.services import return_requests, stand_returns
from apiary_sales.billing.services.return_requests import PIECES_MAX
from apiary_sales.billing.services.stand_returns import APPROVE
from apiary_sales.billing.stand_return_rules import PiecesBack
from apiary_sales.orders.rules.lines import LINES_MAX
from inventory.bottling.models import Product
from inventory.shared.people import person_of

SELL = "orders.sell_at_stand"


class PiecesBackSerializer(serializers.Serializer):
    """So many pieces of one line of a receipt; without `pieces`, all that is left of it."""

    line = IdField(
        queryset=InvoiceLine.objects.filter(credits_line=None).select_related(
            "invoice",
            "fulfilment_line__fulfilment",
            "fulfilment_line__order_line__drum",
            "fulfilment_line__lot__product__item",
        )
    )
    pieces = StrictIntegerField(min_value=1, max_value=PIECES_MAX, required=False, allow_null=True)
    is_on_shelf = serializers.BooleanField(required=False, default=False)

    def validate(self, attrs: dict[str, Any]) -> Any:
        return PiecesBack(**attrs)


class WaySerializer(serializers.Serializer):
    """By which way money is given back, where the buyer paid in several or by check."""

    method = serializers.ChoiceField(choices=Payment.WAYS, required=False)
    check_has_cleared = serializers.BooleanField(required=False, default=False)


class StandReturnSerializer(WaySerializer):
    lines = rows_of(PiecesBackSerializer, max_length=LINES_MAX)
    reason = StrictCharField(max_length=300)
    expected_total_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )


class StandReturnsApiView(ApiActView):
    permission_required = SELL
    serializer_class = StandReturnSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Take some of a stand sale back and give its money back; answer with the credit note.

        The code `needs_approval` says that the office has to be asked: see `return-requests`.
        """
        receipt = get_object_or_404(stand_queries.receipts(), pk=pk)
        key = self.key()
        note = stand_returns.give_back(
            receipt=receipt, given_by=person_of(request), key=key, **self.checked()
        )
        return Response(InvoiceSerializer(note).data, status=status.HTTP_201_CREATED)


class AskedBackSerializer(serializers.Serializer):
    lines = rows_of(PiecesBackSerializer, max_length=LINES_MAX)
    reason = StrictCharField(max_length=300)


class NoReceiptSerializer(serializers.Serializer):
    """Goods without a receipt; `price_cents` is what the buyer says was paid for one."""

    place = StoreCodeField()
    product = CodeField(queryset=Product.objects.select_related("item"))
    pieces = StrictIntegerField(min_value=1, max_value=PIECES_MAX)
    price_cents = StrictIntegerField(min_value=0, max_value=CENTS_MAX)
    lot_code = StrictCharField(max_length=30, required=False, allow_blank=True)
    reason = StrictCharField(max_length=300)


class ApprovalSerializer(serializers.Serializer):
    """`receipt` is the one that it most likely was, where the buyer has none."""

    receipt = IdField(
        queryset=Invoice.objects.filter(series__startswith=Invoice.RECEIPT_PREFIX),
        required=False,
        allow_null=True,
    )
    note = StrictCharField(max_length=300, required=False, allow_blank=True)


class RefusalSerializer(serializers.Serializer):
    note = StrictCharField(max_length=300)


class ReturnRequestSerializer(RowSerializer):
    """A return that the office was asked about; `receipt` is null until one is known."""

    place = serializers.CharField(source="place.code")
    product = serializers.CharField(source="product.code", default=None)
    asked_by = serializers.CharField(source="asked_by.username")
    decided_by = serializers.CharField(source="decided_by.username", default=None)
    receipt = serializers.CharField(default=None, allow_null=True, read_only=True)
    credit_note = serializers.CharField(default=None, allow_null=True, read_only=True)

    class Meta:
        model = ReturnRequest
        fields = [
            "id",
            "state",
            "place",
            "receipt",
            "product",
            "pieces",
            "price_cents",
            "lot_code",
            "text",
            "reason",
            "asked_by",
            "asked_at",
            "decided_by",
            "decided_at",
            "note",
            "credit_note",
        ]


class ReturnAskApiView(ApiActView):
    permission_required = SELL
    serializer_class = AskedBackSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: ReturnRequestSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Ask the office to approve that some of a stand sale comes back."""
        receipt = get_object_or_404(stand_queries.receipts(), pk=pk)
        key = self.key()
        made = return_requests.ask(
            receipt=receipt, asked_by=person_of(request), key=key, **self.checked()
        )
        return Response(ReturnRequestSerializer(made).data, status=status.HTTP_201_CREATED)


class ReturnRequestsApiView(ListApiView):
    """Returns that the office was asked about, newest first: who sells sees those they asked."""

    filterset_class = filters.ReturnRequestListFilters
    ordering_fields = ordered_by("id", "asked_at")
    permission_classes = [ViewPermission]
    permission_required = SELL
    serializer_class = ReturnRequestSerializer
    queryset = ReturnRequest.objects.none()

    def get_queryset(self) -> QuerySet[ReturnRequest]:
        decides = self.request.user.has_perm(APPROVE)
        return queries.requests(person_of(self.request), decides=decides)


class ReturnRequestApiView(RetrieveApiView):
    """One return: who sells asks again and again until it is decided."""

    permission_classes = [ViewPermission]
    permission_required = SELL
    serializer_class = ReturnRequestSerializer
    queryset = ReturnRequest.objects.select_related(
        "place", "product", "asked_by", "decided_by", "receipt", "credit_note"
    )


class NoReceiptApiView(ApiActView):
    permission_required = SELL
    serializer_class = NoReceiptSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: ReturnRequestSerializer, **REFUSALS}
    )
    def post(self, request):
        """Ask the office about goods that came back without a receipt."""
        key = self.key()
        made = return_requests.ask_without_receipt(
            **self.checked(), asked_by=person_of(request), key=key
        )
        return Response(ReturnRequestSerializer(made).data, status=status.HTTP_201_CREATED)


class ReturnApproveApiView(ApiActView):
    permission_required = APPROVE
    serializer_class = ApprovalSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={200: ReturnRequestSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Let the stand give the money of a return back."""
        asked = get_object_or_404(ReturnRequest, pk=pk)
        key = self.key()
        made = return_requests.approve(
            request=asked, approved_by=person_of(request), key=key, **self.checked()
        )
        return Response(ReturnRequestSerializer(made).data)


class ReturnRefuseApiView(ApiActView):
    permission_required = APPROVE
    serializer_class = RefusalSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={200: ReturnRequestSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Refuse a return, as long as its money was not given back."""
        asked = get_object_or_404(ReturnRequest, pk=pk)
        key = self.key()
        made = return_requests.refuse(
            request=asked, refused_by=person_of(request), key=key, **self.checked()
        )
        return Response(ReturnRequestSerializer(made).data)


class ReturnGiveBackApiView(ApiActView):
    permission_required = SELL
    serializer_class = WaySerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={200: ReturnRequestSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Take the goods of an approved return in and give its money back."""
        asked = get_object_or_404(ReturnRequest, pk=pk)
        key = self.key()
        made = return_requests.give_back(
            request=asked, given_by=person_of(request), key=key, **self.checked()
        )
        return Response(ReturnRequestSerializer(made).data)
