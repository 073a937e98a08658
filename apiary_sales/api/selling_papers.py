"""Papers for buyers through the API, as PDF: of quotes, orders, invoices, payments, accounts.

Each is written in the language of its buyer.
"""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import NotFound, ValidationError

from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.views import BuyersPermission
from apiary_sales.billing import papers
from apiary_sales.billing.forms.money import StatementForm
from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import stand
from apiary_sales.customers.models import Customer
from apiary_sales.orders import papers as order_papers
from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import orders
from inventory.shared import documents, public_address
from inventory.shared.models import House


class OrderPaperApiView(PaperApiView):
    permission_classes = [BuyersPermission]

    def order(self, number: str) -> Order:
        return get_object_or_404(orders.for_page(), number=number)


class QuotePaperApiView(OrderPaperApiView):
    @extend_schema(operation_id="quote_paper", responses=PDF)
    def get(self, request, number: str) -> HttpResponse:
        """A quote of drums."""
        order = self.order(number)
        if order.channel != Order.Channel.BULK:
            raise NotFound(_("This order never was a quote."))
        return documents.pdf_response(f"quote-{order.number}.pdf", order_papers.quote(order))


class ConfirmationApiView(OrderPaperApiView):
    @extend_schema(operation_id="order_confirmation", responses=PDF)
    def get(self, request, number: str) -> HttpResponse:
        """The confirmation of an order."""
        order = self.order(number)
        if not order_papers.can_be_confirmed(order):
            raise NotFound(_("There is no order to confirm: it is a quote, or was paid at once."))
        content = order_papers.confirmation(order)
        return documents.pdf_response(f"order-confirmation-{order.number}.pdf", content)


class ProFormaApiView(OrderPaperApiView):
    @extend_schema(operation_id="pro_forma", responses=PDF)
    def get(self, request, number: str) -> HttpResponse:
        """What the invoice of an order or quote is expected to come to; no invoice."""
        order = self.order(number)
        if not papers.has_pro_forma(order):
            raise NotFound(_("What is paid at once has no pro-forma."))
        return documents.pdf_response(f"pro-forma-{order.number}.pdf", papers.pro_forma(order))


class InvoicePaperApiView(PaperApiView):
    permission_required = "billing.view_money"

    @extend_schema(
        operation_id="invoice_paper",
        parameters=[
            OpenApiParameter(
                "paper",
                str,
                enum=House.ReceiptPaper.values,
                description="Of a stand receipt: a page, or the width of a roll in mm.",
            )
        ],
        responses=PDF,
    )
    def get(self, request, pk: int) -> HttpResponse:
        """An invoice, credit note or stand receipt."""
        invoice = get_object_or_404(Invoice, pk=pk)
        paper = request.query_params.get("paper", "")
        if paper and paper not in House.ReceiptPaper:
            raise ValidationError({"paper": [_("Choose page, 80 or 58.")]})
        receipt = stand.receipts().filter(pk=pk).first()
        if receipt:
            content = papers.receipt(receipt, paper, public_address.beginning(request))
        else:
            content = papers.invoice(invoice)
        return documents.pdf_response(f"{invoice}.pdf", content)


class PaymentPaperApiView(PaperApiView):
    permission_required = "billing.view_money"

    @extend_schema(operation_id="payment_receipt", responses=PDF)
    def get(self, request, pk: int) -> HttpResponse:
        """The receipt for a payment: what it paid, and what stays on account."""
        payment = get_object_or_404(Payment.objects.select_related("customer"), pk=pk)
        if not payment.has_receipt:
            raise NotFound(
                _("No money changed hands: this undoes a payment, or was there at the beginning.")
            )
        return documents.pdf_response(f"payment-{payment.pk}.pdf", papers.payment(payment))


class StatementPaperApiView(PaperApiView):
    permission_required = "billing.view_money"

    @extend_schema(
        operation_id="customer_statement",
        parameters=[
            OpenApiParameter("since", str, description="The first day, such as 2026-01-01."),
            OpenApiParameter("until", str, description="The last day; today when left out."),
            OpenApiParameter(
                "known_on", str, description="As it was known at the end of this day, or now."
            ),
        ],
        responses=PDF,
    )
    def get(self, request, pk: int) -> HttpResponse:
        """The account of a customer between two days."""
        customer = get_object_or_404(Customer, pk=pk)
        asked = StatementForm(request.query_params)
        since, until = asked.days()
        content = papers.statement(customer, since, until, asked.known_at())
        return documents.pdf_response(f"statement-{pk}-{until.isoformat()}.pdf", content)
