"""Invoices through the API: issued, paid from an account, their deposits credited; sales undone."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.money import PaymentSerializer
from apiary_sales.api.serializers import (
    CENTS_MAX,
    InvoiceSerializer,
    StrictCharField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import receipts
from apiary_sales.billing.services import (
    credit_notes,
    invoices,
    payments,
    stand,
    stand_returns,
)
from apiary_sales.orders.models import Order
from inventory.shared.people import person_of

ISSUE = "billing.issue_invoices"
TAKE = "billing.take_payments"
DRUMS_MAX = 10_000


class InvoiceToIssueSerializer(serializers.Serializer):
    """An invoice of today, or of the day on which it was written elsewhere.

    With an expected total it is refused where it comes to another one.
    """

    issued_on = serializers.DateField(required=False, allow_null=True)
    expected_total_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )


class DepositCreditSerializer(serializers.Serializer):
    """The deposit of so many drums that came back; they need not be the same drums."""

    drums = StrictIntegerField(min_value=1, max_value=DRUMS_MAX)
    issued_on = serializers.DateField(required=False, allow_null=True)
    expected_total_cents = StrictIntegerField(
        min_value=-CENTS_MAX,
        max_value=0,
        required=False,
        allow_null=True,
        help_text="What the credit note comes to, below zero.",
    )


class SaleToUndoSerializer(serializers.Serializer):
    """Why a sale at the stand is undone."""

    reason = StrictCharField(max_length=300)
    weighed_comes_back = serializers.BooleanField(
        required=False, help_text="That what was weighed out never left the counter."
    )


class OrderInvoiceApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = InvoiceToIssueSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request: Request, number: str) -> Response:
        """Bill all that was handed over of an order and is on no invoice yet."""
        order = get_object_or_404(Order.objects.select_related("customer"), number=number)
        key = self.key()
        made = invoices.issue(order=order, **self.checked(), issued_by=person_of(request), key=key)
        return Response(InvoiceSerializer(made).data, status=status.HTTP_201_CREATED)


class DepositCreditApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = DepositCreditSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Credit the deposit of drums that came back; the credit note is the answer."""
        invoice = get_object_or_404(Invoice.objects.select_related("customer", "order"), pk=pk)
        key = self.key()
        made = credit_notes.credit_deposit(
            invoice=invoice, **self.checked(), issued_by=person_of(request), key=key
        )
        return Response(InvoiceSerializer(made).data, status=status.HTTP_201_CREATED)


class UseOnAccountApiView(ApiActView):
    permission_required = TAKE
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: InvoiceSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Put money on the customer's account to an invoice, as much as is open on it."""
        invoice = get_object_or_404(Invoice.objects.select_related("customer"), pk=pk)
        payments.use_on_account(invoice=invoice)
        return Response(InvoiceSerializer(Invoice.objects.get(pk=pk)).data)


class PrepaymentFreeApiView(ApiActView):
    permission_required = TAKE
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: PaymentSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Let money that was paid in advance for an order be used for any invoice."""
        payment = get_object_or_404(Payment.objects.select_related("customer", "order"), pk=pk)
        return Response(PaymentSerializer(payments.free_prepayment(payment=payment)).data)


class SaleUndoApiView(ApiActView):
    permission_required = "orders.sell_at_stand"
    serializer_class = SaleToUndoSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Undo a sale at the stand: the jars and the money go back; answer with the credit note.

        The code `needs_approval` says that the office has to be asked: see `return-requests`.
        """
        receipt = get_object_or_404(receipts.seen_by(request.user), pk=pk)
        person = person_of(request)
        key = self.key()
        data = self.checked()
        stand_returns.check_may_take_back(receipt, person)
        made = stand.take_back(receipt=receipt, **data, taken_by=person, key=key)
        return Response(InvoiceSerializer(made).data, status=status.HTTP_201_CREATED)
