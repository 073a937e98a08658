"""What is owed and was paid, through the API: accounts of customers and suppliers, single payments,
deposit slips, adjustments, what stood open on a day, and the documents of a tax return.
"""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.buying import (
    PurchaseOrderSerializer,
    SupplierBillSerializer,
    SupplierPaymentSerializer,
)
from apiary_sales.api.honey_of_others import SupplierSerializer
from apiary_sales.api.money import (
    AdjustmentSerializer,
    BouncedCheckSerializer,
    DepositSlipSerializer,
    PaymentSerializer,
)
from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.periods import PERIOD, period_of
from apiary_sales.api.readings import (
    ReadingApiView,
    RowApiView,
    RowsApiView,
    asked_of,
    refuse_errors,
)
from apiary_sales.api.serializers import (
    CertificateSerializer,
    InvoiceSerializer,
    PostingSerializer,
)
from apiary_sales.api.views import BuyersPermission, PostingViewSet
from apiary_sales.billing import papers
from apiary_sales.billing.forms.closing import OwedOnForm
from apiary_sales.billing.forms.expenses import ExpenseFilterForm
from apiary_sales.billing.forms.money import StatementForm
from apiary_sales.billing.models import (
    Adjustment,
    BouncedCheck,
    DepositSlip,
    Entry,
    Invoice,
    Payment,
)
from apiary_sales.billing.queries import (
    as_of,
    bills,
    closing,
    drum_register,
    money,
    purchase_orders,
    statements,
    tax_return,
)
from apiary_sales.billing.queries import expenses as expense_queries
from apiary_sales.billing.queries import money_moves as move_queries
from apiary_sales.billing.services import deposit_slips, late_certificates
from apiary_sales.billing.views import drums as drum_pages
from apiary_sales.customers.models import Customer, ExemptionCertificate
from apiary_sales.orders.models import Order
from inventory.shared import documents
from inventory.shared.models import BooksLock
from inventory.stock.models import Posting, Supplier

SEE = "billing.view_money"
MANAGE_PURCHASES = "billing.manage_purchases"
ROWS_SHOWN = 100

# ------------------------------------------------------------------ customers


class AgingSerializer(serializers.Serializer):
    """What is left to pay, by how many days it is overdue."""

    current_cents = serializers.IntegerField(source="current")
    to_30_cents = serializers.IntegerField(source="to_30")
    to_60_cents = serializers.IntegerField(source="to_60")
    to_90_cents = serializers.IntegerField(source="to_90")
    over_90_cents = serializers.IntegerField(source="over_90")
    overdue_cents = serializers.IntegerField(source="overdue")
    total_cents = serializers.IntegerField(source="total")


class CustomerAccountSerializer(serializers.Serializer):
    """What a customer owes: open bills by age, less money on account."""

    customer = serializers.CharField(source="customer.name")
    customer_id = serializers.IntegerField(source="customer.pk")
    owed_cents = serializers.IntegerField()
    on_account_cents = serializers.IntegerField()
    oldest_due_on = serializers.DateField(allow_null=True)
    aging = AgingSerializer()


class ReceivablesSerializer(serializers.Serializer):
    """What all customers owe, and each of them."""

    owed_cents = serializers.IntegerField()
    on_account_cents = serializers.IntegerField()
    aging = AgingSerializer()
    accounts = CustomerAccountSerializer(many=True)


class MoneyMonthSerializer(serializers.Serializer):
    first_day = serializers.DateField()
    invoiced_cents = serializers.IntegerField()
    received_cents = serializers.IntegerField()


class OrderToInvoiceSerializer(serializers.ModelSerializer):
    """An order with goods handed over that no bill shows."""

    customer = serializers.CharField(source="customer.name", default=None)
    to_invoice_cents = serializers.IntegerField()
    handed_over_on = serializers.DateField()

    class Meta:
        model = Order
        fields = [
            "id",
            "number",
            "customer",
            "customer_id",
            "to_invoice_cents",
            "handed_over_on",
        ]


class MoneyOverviewSerializer(serializers.Serializer):
    """Who owes what, how many bills are open and overdue, and what is still to be invoiced."""

    today = serializers.DateField()
    open_invoices = serializers.IntegerField(source="counts.open")
    overdue_invoices = serializers.IntegerField(source="counts.overdue")
    month = MoneyMonthSerializer()
    owing = ReceivablesSerializer()
    to_invoice = OrderToInvoiceSerializer(many=True)


class MoneyOverviewApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(operation_id="money", responses=MoneyOverviewSerializer)
    def get(self, request: Request) -> Response:
        """Money at a glance, today."""
        today = timezone.localdate()
        told = {
            "today": today,
            "counts": money.counts(today),
            "month": money.month_of(today),
            "owing": money.owing(today),
            "to_invoice": money.orders_to_invoice(),
        }
        return Response(MoneyOverviewSerializer(told).data)


class OwedOnSerializer(serializers.Serializer):
    """What customers owed at the end of a day, as it was known at a moment; null for now."""

    day = serializers.DateField(source="as_of.day")
    known_at = serializers.DateTimeField(source="as_of.known_at", allow_null=True)
    owing = ReceivablesSerializer()


KNOWN_ON = OpenApiParameter(
    "known_on", OpenApiTypes.DATE, description="As it was known at the end of this day, or now."
)


class OwedOnApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(
        operation_id="owed_on",
        parameters=[
            OpenApiParameter("day", OpenApiTypes.DATE, description="Today when left out."),
            KNOWN_ON,
        ],
        responses=OwedOnSerializer,
    )
    def get(self, request: Request) -> Response:
        """What each customer owed on a day, by how long it was overdue."""
        form = OwedOnForm(request.query_params)
        refuse_errors(form)
        asked = form.as_of()
        told = {"as_of": asked, "owing": as_of.receivables(asked)}
        return Response(OwedOnSerializer(told).data)


class AccountOfCustomerSerializer(CustomerAccountSerializer):
    """The account of one customer today, with the bills that are open."""

    open_invoices = InvoiceSerializer(many=True)


class CustomerAccountApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(operation_id="customer_account", responses=AccountOfCustomerSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """What one customer owes today, and which bills are open."""
        customer = get_object_or_404(Customer, pk=pk)
        account: Any = money.account_of(customer, timezone.localdate())
        found = Invoice.objects.open_of(customer).select_related("order", "customer")
        account.open_invoices = found.prefetch_related("lines__taxes")
        return Response(AccountOfCustomerSerializer(account).data)


class StatementLineSerializer(serializers.Serializer):
    """A bill or a payment, and what was owed after it."""

    day = serializers.DateField()
    text = serializers.CharField()
    invoice = serializers.CharField(allow_null=True)
    invoice_id = serializers.IntegerField(source="invoice.pk", default=None)
    payment_id = serializers.IntegerField(source="payment.pk", default=None)
    charge_cents = serializers.IntegerField()
    paid_cents = serializers.IntegerField()
    balance_cents = serializers.IntegerField()


class CustomerStatementSerializer(serializers.Serializer):
    """The account of a customer between two days, both included."""

    customer = serializers.CharField(source="customer.name")
    customer_id = serializers.IntegerField(source="customer.pk")
    since = serializers.DateField()
    until = serializers.DateField()
    opening_cents = serializers.IntegerField()
    charged_cents = serializers.IntegerField()
    paid_cents = serializers.IntegerField()
    closing_cents = serializers.IntegerField()
    on_account_cents = serializers.IntegerField()
    aging = AgingSerializer()
    lines = StatementLineSerializer(many=True)


class CustomerStatementApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(
        operation_id="customer_statement_figures",
        parameters=[*PERIOD, KNOWN_ON],
        responses=CustomerStatementSerializer,
    )
    def get(self, request: Request, pk: int) -> Response:
        """The account of a customer between two days."""
        customer = get_object_or_404(Customer, pk=pk)
        form = StatementForm(request.query_params)
        refuse_errors(form)
        made = statements.statement(customer, *form.days(), form.known_at())
        return Response(CustomerStatementSerializer(made).data)


class LateFreedSerializer(serializers.Serializer):
    """An invoice that a late certificate freed from its tax, and the copy that took its place."""

    invoice = serializers.CharField()
    invoice_id = serializers.IntegerField()
    copy = serializers.CharField()
    copy_id = serializers.IntegerField()
    accepted_by = serializers.CharField(source="accepted_by.display_name")


class LateCertificateReadingSerializer(serializers.Serializer):
    """The invoices with tax that a certificate may free, and those that it freed."""

    certificate = CertificateSerializer()
    taxed = InvoiceSerializer(many=True)
    partly_credited = InvoiceSerializer(many=True)
    freed = LateFreedSerializer(many=True)


class CertificateInvoicesApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(operation_id="certificate_invoices", responses=LateCertificateReadingSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """Which invoices of before a certificate came it may free from their tax."""
        found = ExemptionCertificate.objects.select_related("customer", "accepted_by")
        certificate = get_object_or_404(found, pk=pk)
        told = {
            "certificate": certificate,
            "taxed": late_certificates.taxed_before(certificate),
            "partly_credited": late_certificates.partly_credited_before(certificate),
            "freed": certificate.late.select_related("invoice", "copy", "accepted_by"),
        }
        return Response(LateCertificateReadingSerializer(told).data)


# ------------------------------------------------------------------ payments


class PutToSerializer(serializers.Serializer):
    """So much of a payment for one bill."""

    invoice = serializers.CharField()
    invoice_id = serializers.IntegerField()
    cents = serializers.IntegerField()


class PaymentInFullSerializer(serializers.Serializer):
    """A payment, what it paid, and what happened with it."""

    payment = PaymentSerializer()
    put_to = PutToSerializer(many=True)
    used_cents = serializers.IntegerField()
    left_cents = serializers.IntegerField()
    undone_by_id = serializers.IntegerField(source="undone_by.pk", default=None)
    bounced = BouncedCheckSerializer(allow_null=True)
    deposit_slip_id = serializers.IntegerField(source="slip.pk", default=None)
    adjustments = AdjustmentSerializer(many=True)


class PaymentApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(operation_id="payment", responses=PaymentInFullSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """One payment: what it paid, and what is left of it."""
        found = Payment.objects.select_related("customer", "order", "refunds")
        payment = get_object_or_404(found, pk=pk)
        told = papers.payment_context(payment) | {
            "bounced": BouncedCheck.objects.filter(payment=payment).first(),
            "slip": DepositSlip.objects.filter(checks__payment=payment, undone_on=None).first(),
            "adjustments": payment.adjustments.filter(reversed_by=None).select_related("invoice"),
        }
        told["put_to"] = [
            {"invoice": invoice, "invoice_id": invoice.pk, "cents": cents}
            for invoice, cents in told["put_to"]
        ]
        return Response(PaymentInFullSerializer(told).data)


class PrepaymentsApiView(RowsApiView):
    """What was paid in advance for an order."""

    permission_required = SEE
    serializer_class = PaymentSerializer
    queryset = Payment.objects.all()
    filterset_fields = ["method"]
    ordering_fields = ["id", "received_on"]
    ordering = ["-received_on", "-id"]

    def get_queryset(self) -> QuerySet[Payment]:
        if getattr(self, "swagger_fake_view", False):
            return Payment.objects.none()
        order = get_object_or_404(Order, number=self.kwargs["number"])
        return money.prepayments(order).select_related("customer", "order", "refunds")


class AdjustmentsApiView(RowsApiView):
    """What was written off and given as a discount, the latest first."""

    permission_required = SEE
    serializer_class = AdjustmentSerializer
    queryset = money.adjustments()
    filterset_class = filters.AdjustmentListFilters
    ordering_fields = ["id", "happened_on"]
    ordering = ["-id"]


class AdjustmentApiView(RowApiView):
    """One adjustment."""

    permission_required = SEE
    serializer_class = AdjustmentSerializer
    queryset = Adjustment.objects.select_related("invoice")


class SlipCheckSerializer(serializers.Serializer):
    """A check: its payment, who wrote it, and what is written on it."""

    payment_id = serializers.IntegerField(source="pk")
    customer = serializers.CharField(source="customer.name", default=None)
    customer_id = serializers.IntegerField(allow_null=True)
    reference = serializers.CharField()
    cents = serializers.IntegerField(source="face_cents")


class DepositSlipInFullSerializer(serializers.Serializer):
    slip = DepositSlipSerializer()
    checks = SlipCheckSerializer(many=True)
    checks_cents = serializers.IntegerField()


def slip_of(pk: int) -> DepositSlip:
    found = DepositSlip.objects.select_related("recorded_by", "undone_by")
    return get_object_or_404(found.prefetch_related("checks"), pk=pk)


class DepositSlipApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(operation_id="deposit_slip", responses=DepositSlipInFullSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """One deposit slip with its checks."""
        context = papers.deposit_slip_context(slip_of(pk))
        return Response(DepositSlipInFullSerializer(context).data)


class DepositSlipPaperApiView(PaperApiView):
    permission_required = SEE

    @extend_schema(operation_id="deposit_slip_paper", responses=PDF)
    def get(self, request: Request, pk: int) -> HttpResponse:
        """A deposit slip on paper."""
        context = papers.deposit_slip_context(slip_of(pk))
        content = documents.render_pdf("documents/deposit_slip.html", context)
        return documents.pdf_response(f"deposit-slip-{context['slip']}.pdf", content)


class ToDepositSerializer(serializers.Serializer):
    """What could be brought to the bank now."""

    checks = SlipCheckSerializer(many=True)
    checks_cents = serializers.IntegerField()
    cash_cents = serializers.IntegerField()


class ToDepositApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(operation_id="to_deposit", responses=ToDepositSerializer)
    def get(self, request: Request) -> Response:
        """The checks and the cash that are in the house."""
        here = deposit_slips.checks_here()
        told = {
            "checks": here,
            "checks_cents": sum(payment.face_cents for payment in here),
            "cash_cents": deposit_slips.cash_there_cents(),
        }
        return Response(ToDepositSerializer(told).data)


class MoneyThereSerializer(serializers.Serializer):
    name = serializers.CharField()
    cents = serializers.IntegerField()


class MoneyKeptApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(operation_id="money_kept", responses=MoneyThereSerializer(many=True))
    def get(self, request: Request) -> Response:
        """How much money each place of money has by the books."""
        return Response(MoneyThereSerializer(move_queries.kept(), many=True).data)


class OpeningBalancesSerializer(serializers.Serializer):
    """The bills and credits of customers that the books began with."""

    invoices = InvoiceSerializer(many=True)
    credits = PaymentSerializer(many=True)


class OpeningBalancesApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(operation_id="opening_balances", responses=OpeningBalancesSerializer)
    def get(self, request: Request) -> Response:
        """What customers owed and had paid too much when the books began."""
        invoices = Invoice.objects.of_before().select_related("customer", "order")
        credits = Payment.objects.opening_credits()
        told = {
            "invoices": invoices.prefetch_related("lines__taxes").order_by("id"),
            "credits": credits.select_related("customer", "order", "refunds").order_by("id"),
        }
        return Response(OpeningBalancesSerializer(told).data)


# ------------------------------------------------------------------ taxes and closing


class TaxDocumentSerializer(serializers.Serializer):
    """A bill behind a figure of a tax return."""

    invoice = serializers.CharField()
    invoice_id = serializers.IntegerField(source="invoice.pk")
    counts_on = serializers.DateField()
    amount_cents = serializers.IntegerField()
    tax_cents = serializers.IntegerField()


OF_RETURN = [
    *PERIOD,
    OpenApiParameter("jurisdiction", str, description="Whose tax; all when left out."),
]


class TaxDocumentsApiView(ReadingApiView):
    permission_required = SEE

    @extend_schema(
        operation_id="tax_documents",
        parameters=[
            *OF_RETURN,
            OpenApiParameter("category", str, description="As the return has it, such as `S`."),
            OpenApiParameter("reason", str, description="Why a sale is free of tax."),
            OpenApiParameter("name", str, description="Name of a tax."),
            OpenApiParameter("percent", OpenApiTypes.DECIMAL, description="Its rate."),
        ],
        responses=TaxDocumentSerializer(many=True),
    )
    def get(self, request: Request) -> Response:
        """The bills behind one figure of the tax return."""
        asked = request.query_params
        since, until = period_of(request)
        percent = serializers.DecimalField(max_digits=7, decimal_places=4)
        rows = tax_return.documents(
            since,
            until,
            jurisdiction=asked.get("jurisdiction", ""),
            category=asked.get("category", ""),
            reason=asked.get("reason"),
            name=asked.get("name", ""),
            percent=asked_of(request, "percent", percent),
        )
        return Response(TaxDocumentSerializer(rows, many=True).data)


class TaxReturnPaperApiView(PaperApiView):
    permission_required = SEE

    @extend_schema(operation_id="tax_return_paper", parameters=OF_RETURN, responses=PDF)
    def get(self, request: Request) -> HttpResponse:
        """The tax return of some days on paper."""
        since, until = period_of(request)
        found = tax_return.of_period(since, until, request.query_params.get("jurisdiction", ""))
        content = documents.render_pdf("documents/tax_return.html", {"found": found})
        return documents.pdf_response(f"tax-return-{until.isoformat()}.pdf", content)


class BooksLockEventSerializer(serializers.ModelSerializer):
    """Books closed up to a day, or opened again."""

    locked_by = serializers.CharField(source="locked_by.username")

    class Meta:
        model = BooksLock
        fields = ["id", "locked_until", "locked_by", "locked_by_id", "locked_at", "note"]


class LateEntrySerializer(serializers.ModelSerializer):
    """An entry of money that was made for a day that was closed; it counts on `entered_on`."""

    class Meta:
        model = Entry
        fields = ["id", "kind", "happened_on", "entered_on", "invoice", "payment"]


class BooksClosingSerializer(serializers.Serializer):
    """Up to which day the books are closed, and the latest of what counts later for it."""

    locked_until = serializers.DateField(allow_null=True)
    history = BooksLockEventSerializer(many=True)
    late_entries = LateEntrySerializer(many=True)
    late_postings = PostingSerializer(many=True)


class BooksClosingApiView(ReadingApiView):
    permission_required = "inventory.lock_books"

    @extend_schema(operation_id="books_closing", responses=BooksClosingSerializer)
    def get(self, request: Request) -> Response:
        """Up to which day the books are closed."""
        late = closing.late_postings().order_by().values("pk")
        postings: QuerySet[Posting] = PostingViewSet.queryset.filter(pk__in=late)
        told = {
            "locked_until": BooksLock.objects.locked_until(),
            "history": BooksLock.objects.select_related("locked_by"),
            "late_entries": closing.late_entries()[:ROWS_SHOWN],
            "late_postings": postings[:ROWS_SHOWN],
        }
        return Response(BooksClosingSerializer(told).data)


# ------------------------------------------------------------------ suppliers and expenses


class SupplierAccountSerializer(serializers.Serializer):
    """What one supplier is owed, with their latest bills, payments and orders."""

    supplier = SupplierSerializer()
    open_cents = serializers.IntegerField()
    bills = SupplierBillSerializer(many=True)
    payments = SupplierPaymentSerializer(many=True)
    orders = PurchaseOrderSerializer(many=True)


class SupplierAccountApiView(ReadingApiView):
    permission_required = MANAGE_PURCHASES

    @extend_schema(operation_id="supplier_account", responses=SupplierAccountSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """What one supplier is owed."""
        supplier = get_object_or_404(Supplier, pk=pk)
        found = bills.bills(on=timezone.localdate()).filter(supplier=supplier)
        latest = found.order_by("-billed_on", "-id")
        told = {
            "supplier": supplier,
            "open_cents": bills.totals(latest).open_cents,
            "bills": latest[:ROWS_SHOWN],
            "payments": bills.payments().filter(supplier=supplier)[:ROWS_SHOWN],
            "orders": purchase_orders.orders().filter(supplier=supplier)[:ROWS_SHOWN],
        }
        return Response(SupplierAccountSerializer(told).data)


class ToBillSerializer(serializers.Serializer):
    """A delivery that no bill of a supplier shows yet; `key` names it to a bill."""

    key = serializers.CharField()
    supplier = serializers.CharField(source="supplier.name", default=None)
    supplier_id = serializers.IntegerField(source="supplier.pk", default=None)
    name = serializers.CharField()
    quantity = serializers.CharField()
    received_on = serializers.DateField()
    cost_cents = serializers.IntegerField(allow_null=True)
    order = serializers.CharField(source="order.number", default=None)
    order_id = serializers.IntegerField(source="order.pk", default=None)


class DeliveriesToBillApiView(ReadingApiView):
    permission_required = MANAGE_PURCHASES

    @extend_schema(operation_id="deliveries_to_bill", responses=ToBillSerializer(many=True))
    def get(self, request: Request) -> Response:
        """What came in lately and no bill of a supplier shows."""
        since = timezone.localdate() - bills.TO_BILL_SINCE
        return Response(ToBillSerializer(purchase_orders.to_bill(since=since), many=True).data)


class ExpenseRowOfMonthsSerializer(serializers.Serializer):
    label = serializers.CharField()  # type: ignore[assignment]
    cents = serializers.ListField(child=serializers.IntegerField())
    total_cents = serializers.IntegerField()


class ExpensesByMonthSerializer(serializers.Serializer):
    """What was spent on what, month by month; `months` are first days."""

    months = serializers.ListField(child=serializers.DateField())
    rows = ExpenseRowOfMonthsSerializer(many=True)
    sums_cents = serializers.ListField(source="sums", child=serializers.IntegerField())
    total_cents = serializers.IntegerField()


class ExpensesByMonthApiView(ReadingApiView):
    permission_required = MANAGE_PURCHASES

    @extend_schema(
        operation_id="expenses_by_month", parameters=PERIOD, responses=ExpensesByMonthSerializer
    )
    def get(self, request: Request) -> Response:
        """What was spent on what in which month."""
        form = ExpenseFilterForm(request.query_params)
        asked = form.asked()
        refuse_errors(form)
        found = expense_queries.by_month(asked["since"], asked["until"])
        return Response(ExpensesByMonthSerializer(found).data)


class ExpenseProposalSerializer(serializers.Serializer):
    """An expense that comes again and is due; `waiting` more of it are due too."""

    recurring_id = serializers.IntegerField(source="recurring.pk")
    payee = serializers.CharField(source="recurring.payee")
    category = serializers.CharField(source="recurring.category")
    amount_cents = serializers.IntegerField(source="recurring.amount_cents")
    due_on = serializers.DateField()
    waiting = serializers.IntegerField()


class ExpensesDueApiView(ReadingApiView):
    permission_required = MANAGE_PURCHASES

    @extend_schema(operation_id="expenses_due", responses=ExpenseProposalSerializer(many=True))
    def get(self, request: Request) -> Response:
        """The expenses that come again and are due by today."""
        found = expense_queries.proposals(timezone.localdate())
        return Response(ExpenseProposalSerializer(found, many=True).data)


# ------------------------------------------------------------------ drums and the house


class DrumHolderSerializer(serializers.Serializer):
    """A customer who has drums of the house, with the deposit for them."""

    customer = serializers.CharField(source="customer.name")
    customer_id = serializers.IntegerField(source="customer.pk")
    drums = serializers.SerializerMethodField()
    deposit_cents = serializers.IntegerField()

    def get_drums(self, holder: drum_register.Holder) -> list[str]:
        return [outing.drum.code for outing in holder.outings]


class DepositDueBackSerializer(serializers.Serializer):
    """A bill whose drums came back while their deposit was not given back yet."""

    invoice = serializers.CharField()
    invoice_id = serializers.IntegerField(source="invoice.pk")
    customer = serializers.CharField(source="invoice.customer.name", default=None)
    customer_id = serializers.IntegerField(source="invoice.customer_id", allow_null=True)
    drums = serializers.IntegerField()


class DrumHoldersSerializer(serializers.Serializer):
    holders = DrumHolderSerializer(many=True)
    drums = serializers.IntegerField(source="count")
    deposit_cents = serializers.IntegerField()
    to_refund = DepositDueBackSerializer(many=True)


class DrumHoldersApiView(ReadingApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="drum_holders", responses=DrumHoldersSerializer)
    def get(self, request: Request) -> Response:
        """Who has how many drums of the house, and which deposits are to be given back."""
        return Response(DrumHoldersSerializer(drum_pages.register_context()).data)


class DrumRegisterPaperApiView(PaperApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="drum_register_paper", responses=PDF)
    def get(self, request: Request) -> HttpResponse:
        """The drum register on paper."""
        content = documents.render_pdf(drum_pages.REGISTER, drum_pages.register_context())
        return documents.pdf_response("drum-register.pdf", content)
