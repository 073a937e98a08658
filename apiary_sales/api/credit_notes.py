"""Credit notes, corrected invoices and goods that came back, through the API."""

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api.fields import IdField, rows_of
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    InvoiceSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from apiary_sales.billing.models import Invoice, InvoiceLine
from apiary_sales.billing.rules import LineCredit
from apiary_sales.billing.services import corrected_invoices, credit_notes
from apiary_sales.billing.services.corrected_invoices import LineChange
from apiary_sales.orders.models import FulfilmentLine, Order
from apiary_sales.orders.rules.lines import LINES_MAX
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import returns
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.people import person_of
from inventory.stock.models import Place

LINES = InvoiceLine.objects.select_related("invoice", "fulfilment_line__order_line")


class GoodsBackSerializer(serializers.Serializer):
    """So much of goods handed over came back: pieces, or grams of what is kept by weight."""

    goods = IdField(
        queryset=FulfilmentLine.objects.filter(billed_cents__isnull=False).select_related(
            "fulfilment", "order_line__drum", "lot__product__item"
        )
    )
    quantity = StrictIntegerField(min_value=1, max_value=GRAMS_MAX)
    place = CodeField(
        queryset=Place.objects.filter(kind__in=[*Place.VESSELS, *Place.STORES]),
        required=False,
        allow_null=True,
    )
    is_fit = serializers.BooleanField(required=False, default=True)

    def validate(self, attrs: dict[str, Any]) -> Any:
        return GoodsBack(**attrs)


class LineCreditSerializer(serializers.Serializer):
    """What of one line is credited: goods by quantity, part of the price of each, or an amount.

    One of the three has to be there. The part of the price is for all that is left of the line, or
    for a quantity. What is counted in pieces is credited by whole ones.
    """

    line = IdField(queryset=LINES)
    quantity = StrictDecimalField(
        max_digits=14, decimal_places=3, required=False, allow_null=True, min_value=0
    )
    price_off = StrictDecimalField(
        max_digits=12, decimal_places=4, required=False, allow_null=True, min_value=0
    )
    allowance_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )

    def validate(self, attrs: dict[str, Any]) -> Any:
        credit = LineCredit(**attrs)
        if credit.quantity is credit.price_off is credit.allowance_cents is None:
            raise serializers.ValidationError(
                _(
                    "Say what of this line is credited: give a quantity, a price or an amount. "
                    "Without lines, all that is left of the invoice is credited."
                )
            )
        return credit


class CreditSerializer(serializers.Serializer):
    """Without `lines` all that is left is credited; without `goods_back` the goods stay out."""

    reason = StrictCharField(max_length=300)
    lines = rows_of(LineCreditSerializer, required=False, allow_null=True, max_length=LINES_MAX)
    goods_back = rows_of(GoodsBackSerializer, required=False, max_length=LINES_MAX)
    returned_on = serializers.DateField(required=False, allow_null=True)
    sends_again = serializers.BooleanField(required=False)
    expected_total_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )


class CreditNotesApiView(ApiActView):
    permission_required = "billing.issue_invoices"
    serializer_class = CreditSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Credit an invoice in full or in part, and say what of its goods came back."""
        invoice = get_object_or_404(Invoice, pk=pk)
        key = self.key()
        note = credit_notes.credit(
            invoice=invoice, issued_by=person_of(request), key=key, **self.checked()
        )
        return Response(InvoiceSerializer(note).data, status=status.HTTP_201_CREATED)


class LineChangeSerializer(serializers.Serializer):
    """What is different on one line of the corrected copy."""

    line = IdField(queryset=LINES)
    unit_price = StrictDecimalField(
        max_digits=12, decimal_places=4, required=False, allow_null=True, min_value=0
    )
    discount_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )
    is_left_out = serializers.BooleanField(required=False, default=False)


class CorrectionOfInvoiceSerializer(serializers.Serializer):
    reason = StrictCharField(max_length=300)
    changes = rows_of(LineChangeSerializer, required=False, max_length=LINES_MAX)
    customer_reference = StrictCharField(
        max_length=60, required=False, allow_blank=True, allow_null=True
    )
    expected_total_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )


class CorrectedInvoiceApiView(ApiActView):
    permission_required = "billing.issue_invoices"
    serializer_class = CorrectionOfInvoiceSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Credit a wrong invoice, and issue a corrected copy in its place."""
        invoice = get_object_or_404(Invoice.objects.select_related("customer", "order"), pk=pk)
        key, data = self.key(), self.checked()
        changes = {
            row["line"].pk: LineChange(**{name: row[name] for name in row if name != "line"})
            for row in data.pop("changes", [])
        }
        copy = corrected_invoices.correct(
            invoice=invoice, issued_by=person_of(request), key=key, changes=changes, **data
        )
        return Response(InvoiceSerializer(copy).data, status=status.HTTP_201_CREATED)


class GoodsOfOrderBackSerializer(serializers.Serializer):
    reason = StrictCharField(max_length=300)
    goods_back = rows_of(GoodsBackSerializer, max_length=LINES_MAX)
    returned_on = serializers.DateField(required=False, allow_null=True)


class BookedBackSerializer(serializers.Serializer):
    order = serializers.CharField(source="number")
    order_id = serializers.IntegerField(source="pk")


class GoodsBackApiView(ApiActView):
    permission_required = "billing.issue_invoices"
    serializer_class = GoodsOfOrderBackSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: BookedBackSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Book goods of an order that came back, without a credit note."""
        order = get_object_or_404(Order, number=number)
        key = self.key()
        made = returns.record(
            order=order, recorded_by=person_of(request), key=key, **self.checked()
        )
        return Response(BookedBackSerializer(made).data, status=status.HTTP_201_CREATED)
