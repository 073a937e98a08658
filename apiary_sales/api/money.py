"""Money through the API: payments and what may happen with them, deposits, the cash book."""

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.exceptions import ValidationError
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import AnswerSerializer, RowSerializer
from apiary_sales.api.bases import ApiView, ListApiView
from apiary_sales.api.changed import ChangedAtField
from apiary_sales.api.fields import IdField, rows_of
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    InvoiceSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.billing.forms.cash import CashBookForm
from apiary_sales.billing.models import (
    Adjustment,
    Allocation,
    BouncedCheck,
    CashCount,
    DepositSlip,
    Invoice,
    OpeningAmount,
    Payment,
)
from apiary_sales.billing.queries.cash_book import cash_book
from apiary_sales.billing.queries.number_series import number_series
from apiary_sales.billing.services import (
    adjustments,
    bounced_checks,
    cash_counts,
    deposit_slips,
    interest,
    opening,
    payments,
)
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from inventory.shared.models import House
from inventory.shared.people import person_of
from inventory.stock.models import Counter
from inventory.stock.services import numbers

SEE = "billing.view_money"
ISSUE = "billing.issue_invoices"
TAKE = "billing.take_payments"


def _cents(**kwargs: Any) -> StrictIntegerField:
    return StrictIntegerField(**{"min_value": 1, "max_value": CENTS_MAX, **kwargs})


def _day(**kwargs: Any) -> serializers.DateField:
    return serializers.DateField(**{"required": False, "allow_null": True, **kwargs})


def _text(length: int = 300, **kwargs: Any) -> StrictCharField:
    return StrictCharField(
        **{"required": False, "allow_blank": True, "max_length": length, **kwargs}
    )


def _reason() -> StrictCharField:
    return StrictCharField(max_length=300, allow_blank=True)


# ------------------------------------------------------------------ what is answered


class PaidInvoiceSerializer(RowSerializer):
    """So much of a payment put to an invoice; below zero, taken off it again."""

    invoice = serializers.CharField(source="invoice.__str__")

    class Meta:
        model = Allocation
        fields = ["id", "invoice", "put_on", "amount_cents"]


class PaymentSerializer(RowSerializer):
    """Money received; below zero, given back. Cash is that and its `rounding_cents`.

    What of it is put to no invoice is on the account of its customer.
    """

    changed_at = ChangedAtField()
    customer = serializers.CharField(source="customer.name", default=None)
    order = serializers.CharField(source="order.number", default=None)
    reverses = serializers.IntegerField(source="reverses_id", default=None)
    refunds = serializers.CharField(default=None, allow_null=True, read_only=True)
    invoices = PaidInvoiceSerializer(many=True, read_only=True, source="allocations")

    class Meta:
        model = Payment
        fields = [
            "id",
            "customer",
            "method",
            "amount_cents",
            "rounding_cents",
            "received_on",
            "reference",
            "note",
            "order",
            "reverses",
            "refunds",
            "invoices",
            "changed_at",
        ]


class AdjustmentSerializer(RowSerializer):
    """What was taken off an invoice without payment; below zero, that was undone."""

    invoice = serializers.CharField()
    invoice_id = serializers.IntegerField()
    customer = serializers.CharField(source="customer.name", default=None)
    customer_id = serializers.IntegerField(allow_null=True)
    reverses = serializers.IntegerField(source="reverses_id", default=None)

    class Meta:
        model = Adjustment
        fields = [
            "id",
            "invoice",
            "invoice_id",
            "customer",
            "customer_id",
            "kind",
            "net_cents",
            "tax_cents",
            "happened_on",
            "reason",
            "reverses",
        ]


class DepositSlipSerializer(RowSerializer):
    checks = serializers.SerializerMethodField()

    class Meta:
        model = DepositSlip
        fields = [
            "id",
            "number",
            "deposited_on",
            "bank_account",
            "cash_cents",
            "total_cents",
            "checks",
            "undone_on",
        ]

    def get_checks(self, slip: DepositSlip) -> list[int]:
        return [check.payment_id for check in slip.checks.all()]


class BouncedCheckSerializer(RowSerializer):
    payment = serializers.IntegerField(source="payment_id")
    bill = serializers.CharField(default=None)
    recorded_again = serializers.IntegerField(source="recorded_again_id", default=None)

    class Meta:
        model = BouncedCheck
        fields = ["id", "payment", "bounced_on", "bank_fee_cents", "bill", "recorded_again"]


class CashCountSerializer(RowSerializer):
    difference_cents = serializers.IntegerField()

    class Meta:
        model = CashCount
        fields = [
            "id",
            "counted_on",
            "counted_cents",
            "expected_cents",
            "difference_cents",
            "note",
            "undone_on",
        ]


class OpeningAmountSerializer(RowSerializer):
    class Meta:
        model = OpeningAmount
        fields = ["id", "account", "amount_cents", "begins_on", "note", "undone_on"]


class CashLineSerializer(serializers.Serializer):
    day = serializers.DateField()
    account = serializers.CharField()
    text = serializers.CharField()
    in_cents = serializers.IntegerField()
    out_cents = serializers.IntegerField()
    balance_cents = serializers.IntegerField()


class CashAccountSerializer(serializers.Serializer):
    account = serializers.CharField()
    opening_cents = serializers.IntegerField()
    in_cents = serializers.IntegerField()
    out_cents = serializers.IntegerField()
    closing_cents = serializers.IntegerField()


class CashBookSerializer(serializers.Serializer):
    """Money by day and document; a day is the one an entry counts on."""

    since = serializers.DateField()
    until = serializers.DateField()
    accounts = CashAccountSerializer(many=True)
    lines = CashLineSerializer(many=True)


class NumberSeriesSerializer(serializers.Serializer):
    series = serializers.CharField()
    name = serializers.CharField()
    next_number = serializers.IntegerField()
    has_begun = serializers.BooleanField()


class InterestSerializer(AnswerSerializer):
    invoice = serializers.CharField(source="overdue.name")
    invoice_id = serializers.IntegerField(source="overdue.invoice_pk")
    open_cents = serializers.IntegerField(source="overdue.open_cents")
    first_day = serializers.DateField()
    days = serializers.IntegerField()
    interest_cents = serializers.IntegerField(source="cents")


# ------------------------------------------------------------------ what is sent


class ShareSerializer(serializers.Serializer):
    """So much of a payment for one invoice."""

    invoice = IdField(queryset=Invoice.objects.all())
    amount_cents = _cents(min_value=0)


class ReceiveSerializer(serializers.Serializer):
    """Money from a customer.

    Without `allocations` what is due first is paid first; with an `order` it is kept for that.
    `is_another` says that it is no payment that is recorded already.
    """

    customer = IdField(queryset=Customer.objects.all())
    amount_cents = _cents()
    method = serializers.ChoiceField(choices=Payment.WAYS)
    received_on = _day()
    reference = _text(60)
    note = _text()
    allocations = rows_of(
        ShareSerializer,
        required=False,
        allow_null=True,
        max_length=500,
        help_text="How much goes to which invoice, each named once; what is over stays on the "
        "customer's account. Left out or null, the invoices due first are paid first, or those of "
        "the `order` alone where there is one. With [] no invoice is paid: all stays on the "
        "account, kept for the `order` where there is one.",
    )
    order = CodeField(
        queryset=Order.objects.all(), slug_field="number", required=False, allow_null=True
    )
    rest = serializers.ChoiceField(choices=payments.Rest.choices, required=False)
    rest_reason = _text()
    is_another = serializers.BooleanField(default=False)

    def validate_allocations(self, rows: list[dict[str, Any]] | None) -> dict[Invoice, int] | None:
        """Return how much goes to which invoice; refuse an invoice that is named twice."""
        if rows is None:
            return None
        shares: dict[Invoice, int] = {}
        for index, row in enumerate(rows):
            if row["invoice"] in shares:
                sentence = _("Name each invoice once, with the sum of its amounts.")
                raise serializers.ValidationError({str(index): {"invoice": [sentence]}})
            shares[row["invoice"]] = row["amount_cents"]
        return shares


class ReasonSerializer(serializers.Serializer):
    reason = _reason()


class CheckBounceSerializer(serializers.Serializer):
    bounced_on = _day()
    bank_fee_cents = _cents(min_value=0, required=False)
    customer_fee_cents = _cents(min_value=0, required=False)
    reason = _text()


class PayBackSerializer(serializers.Serializer):
    """Money given back, of what is on a customer's account."""

    amount_cents = _cents()
    method = serializers.ChoiceField(choices=Payment.WAYS)
    paid_on = _day()
    reference = _text(60)
    note = _text()


class RefundSerializer(serializers.Serializer):
    """Money given back for a credit note."""

    amount_cents = _cents()
    method = serializers.ChoiceField(choices=Payment.WAYS)
    paid_on = _day()
    reference = _text(60)
    comment = _text()


class AdjustSerializer(serializers.Serializer):
    kind = serializers.ChoiceField(
        choices=[(kind.value, kind.label) for kind in Adjustment.BY_HAND]
    )
    amount_cents = _cents(source="cents")
    reason = _reason()
    happened_on = _day()
    lowers_tax = serializers.BooleanField(required=False, allow_null=True, default=None)


class InterestBillSerializer(serializers.Serializer):
    """`total_cents`, where it is sent, is what was shown; another sum by now is refused."""

    percent_a_year = StrictDecimalField(max_digits=6, decimal_places=3, min_value=0, max_value=100)
    until = _day()
    total_cents = _cents(required=False, allow_null=True)


class DepositSerializer(serializers.Serializer):
    """Checks, by the keys of their payments, and cash."""

    checks = serializers.ListField(
        child=IdField(queryset=Payment.objects.all()), required=False, max_length=500
    )
    cash_cents = _cents(min_value=0, default=0)
    deposited_on = _day()
    bank_account = _text(80)


class CountCashSerializer(serializers.Serializer):
    counted_cents = _cents(min_value=0)
    counted_on = _day()
    note = _text()


class OweSerializer(serializers.Serializer):
    """An invoice from before the books began that is still to be paid."""

    customer = IdField(queryset=Customer.objects.all())
    number = StrictCharField(max_length=40)
    amount_cents = _cents()
    issued_on = serializers.DateField()
    due_on = serializers.DateField()
    begins_on = serializers.DateField()
    note = _text()


class OpeningCreditSerializer(serializers.Serializer):
    customer = IdField(queryset=Customer.objects.all())
    amount_cents = _cents()
    begins_on = serializers.DateField()
    reference = _text(60)
    note = _text()


class BeginWithSerializer(serializers.Serializer):
    account = serializers.ChoiceField(choices=[str(each) for each in OpeningAmount.ACCOUNTS])
    amount_cents = _cents(min_value=-CENTS_MAX)
    begins_on = serializers.DateField()
    note = _text()


class FirstNumberSerializer(serializers.Serializer):
    series = StrictCharField(max_length=40)
    number = StrictIntegerField(min_value=1, max_value=numbers.NUMBER_MAX)

    def validate_series(self, series: str) -> str:
        if series not in {each.series for each in number_series()}:
            raise serializers.ValidationError("Choose a series of the list.")
        return series


# ------------------------------------------------------------------ views


def _made(serializer: Any) -> Response:
    return Response(serializer.data, status=status.HTTP_201_CREATED)


class PaymentsApiView(ApiActView, ListApiView):
    filterset_class = filters.PaymentListFilters
    ordering_fields = ordered_by(
        "id", "received_on", "amount_cents", "changed_at", customer="customer__name"
    )
    permission_required = TAKE
    permission_to_read = SEE
    serializer_class = ReceiveSerializer
    row_serializer_class = PaymentSerializer
    queryset = (
        Payment.objects.select_related("customer", "order", "refunds")
        .prefetch_related("allocations__invoice")
        .order_by("-id")
    )

    @extend_schema(responses=PaymentSerializer(many=True))
    def get(self, request):
        """List payments, the newest first."""
        return self.list(request)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PaymentSerializer, **REFUSALS})
    def post(self, request):
        """Record money from a customer."""
        key = self.key()
        made = payments.receive(**self.checked(), received_by=person_of(request), key=key)
        return _made(PaymentSerializer(made))


class PaymentUndoApiView(ApiActView):
    permission_required = TAKE
    serializer_class = ReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PaymentSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Undo a payment."""
        payment = get_object_or_404(Payment, pk=pk)
        key = self.key()
        made = payments.reverse(
            payment=payment, **self.checked(), reversed_by=person_of(request), key=key
        )
        return _made(PaymentSerializer(made))


class PaymentBounceApiView(ApiActView):
    permission_required = TAKE
    serializer_class = CheckBounceSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: BouncedCheckSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Record that a check bounced, with the fee of the bank and the house's."""
        payment = get_object_or_404(Payment, pk=pk)
        key = self.key()
        made = bounced_checks.record(
            payment=payment, **self.checked(), recorded_by=person_of(request), key=key
        )
        return _made(BouncedCheckSerializer(made))


class PaymentGoodApiView(ApiActView):
    permission_required = TAKE
    serializer_class = ReasonSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: BouncedCheckSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Take back that a check bounced: it was good after all."""
        bounced = get_object_or_404(BouncedCheck, payment=pk)
        key = self.key()
        made = bounced_checks.undo(
            bounced=bounced, **self.checked(), undone_by=person_of(request), key=key
        )
        return _made(BouncedCheckSerializer(made))


class PayBackApiView(ApiActView):
    permission_required = TAKE
    serializer_class = PayBackSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PaymentSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Give money on a customer's account back."""
        customer = get_object_or_404(Customer, pk=pk)
        key = self.key()
        made = payments.pay_back(
            customer=customer, **self.checked(), paid_by=person_of(request), key=key
        )
        return _made(PaymentSerializer(made))


class RefundApiView(ApiActView):
    permission_required = TAKE
    serializer_class = RefundSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PaymentSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Give the money of a credit note back."""
        notes = Invoice.objects.filter(credits__isnull=False, customer__isnull=False)
        note = get_object_or_404(notes.select_related("customer"), pk=pk)
        key = self.key()
        made = payments.refund(note=note, **self.checked(), paid_by=person_of(request), key=key)
        return _made(PaymentSerializer(made))


class AdjustApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = AdjustSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: AdjustmentSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Write off what is left of an invoice, or give a discount on it."""
        invoice = get_object_or_404(Invoice.objects.select_related("customer"), pk=pk)
        key = self.key()
        made = adjustments.adjust(
            invoice=invoice, **self.checked(), made_by=person_of(request), key=key
        )
        return _made(AdjustmentSerializer(made))


class AdjustmentUndoApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = ReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: AdjustmentSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Take an adjustment back."""
        adjustment = get_object_or_404(Adjustment.objects.select_related("customer"), pk=pk)
        key = self.key()
        made = adjustments.undo(
            adjustment=adjustment, **self.checked(), undone_by=person_of(request), key=key
        )
        return _made(AdjustmentSerializer(made))


class InterestApiView(ApiActView):
    permission_required = (ISSUE, "orders.take_orders")
    serializer_class = InterestBillSerializer

    @extend_schema(
        parameters=[
            OpenApiParameter("percent_a_year", str),
            OpenApiParameter("until", str),
        ],
        responses={200: InterestSerializer(many=True), **REFUSALS},
    )
    def get(self, request, pk: int):
        """Show the interest on what a customer pays late, at the usual rate or another."""
        customer = get_object_or_404(Customer, pk=pk)
        usual = {"percent_a_year": str(House.current().interest_percent_a_year)}
        asked = InterestBillSerializer(data=usual | request.query_params.dict())
        if not asked.is_valid():
            raise ValidationError(asked.errors)
        found = interest.preview(
            customer,
            percent_a_year=asked.validated_data["percent_a_year"],
            until=asked.validated_data.get("until") or timezone.localdate(),
        )
        return Response(InterestSerializer(found, many=True).data)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Bill a customer the interest on what they pay late."""
        customer = get_object_or_404(Customer, pk=pk)
        key = self.key()
        made = interest.charge(
            customer=customer, **self.checked(), billed_by=person_of(request), key=key
        )
        return _made(InvoiceSerializer(made))


class DepositSlipsApiView(ApiActView, ListApiView):
    filterset_class = filters.DepositSlipListFilters
    ordering_fields = ordered_by("id", "number", "deposited_on")
    permission_required = TAKE
    permission_to_read = SEE
    serializer_class = DepositSerializer
    row_serializer_class = DepositSlipSerializer
    queryset = DepositSlip.objects.prefetch_related("checks").order_by("-number")

    @extend_schema(responses=DepositSlipSerializer(many=True))
    def get(self, request):
        """List deposit slips, the newest first."""
        return self.list(request)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: DepositSlipSerializer, **REFUSALS})
    def post(self, request):
        """Bring checks and cash to the bank."""
        key = self.key()
        made = deposit_slips.deposit(
            **{"checks": [], **self.checked()}, deposited_by=person_of(request), key=key
        )
        return _made(DepositSlipSerializer(made))


class DepositUndoApiView(ApiActView):
    permission_required = TAKE
    serializer_class = ReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: DepositSlipSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Undo a deposit slip."""
        slip = get_object_or_404(DepositSlip, pk=pk)
        self.key()
        made = deposit_slips.undo(slip=slip, **self.checked(), undone_by=person_of(request))
        return _made(DepositSlipSerializer(made))


class CashCountsApiView(ApiActView, ListApiView):
    filterset_class = filters.CashCountListFilters
    ordering_fields = ordered_by("id", "counted_on")
    permission_required = TAKE
    permission_to_read = SEE
    serializer_class = CountCashSerializer
    row_serializer_class = CashCountSerializer
    queryset = CashCount.objects.all()

    @extend_schema(responses=CashCountSerializer(many=True))
    def get(self, request):
        """List the counts of cash, the newest first."""
        return self.list(request)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: CashCountSerializer, **REFUSALS})
    def post(self, request):
        """Count the cash at the end of a day; the difference is posted."""
        key = self.key()
        made = cash_counts.count(**self.checked(), counted_by=person_of(request), key=key)
        return _made(CashCountSerializer(made))


class CashCountUndoApiView(ApiActView):
    permission_required = TAKE
    serializer_class = ReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: CashCountSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Undo a count of cash."""
        found = get_object_or_404(CashCount, pk=pk)
        self.key()
        made = cash_counts.undo(cash_count=found, **self.checked(), undone_by=person_of(request))
        return _made(CashCountSerializer(made))


class CashBookApiView(ApiView):
    permission_classes = [ViewPermission]
    permission_required = SEE

    @extend_schema(
        parameters=[
            OpenApiParameter("since", str),
            OpenApiParameter("until", str),
            OpenApiParameter("account", str),
        ],
        responses=CashBookSerializer,
    )
    def get(self, request):
        """Return the cash book: this month and all money, unless told otherwise."""
        form = CashBookForm(request.query_params)
        if not form.is_valid():
            raise ValidationError(form.errors.get_json_data() and dict(form.errors))
        return Response(CashBookSerializer(cash_book(*form.chosen())).data)


class OpeningInvoicesApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = OweSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: InvoiceSerializer, **REFUSALS})
    def post(self, request):
        """Record an invoice from before the books began that is still to be paid."""
        key = self.key()
        made = opening.owe(**self.checked(), recorded_by=person_of(request), key=key)
        return _made(InvoiceSerializer(made))


class OpeningTakeBackApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = ReasonSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: AdjustmentSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Take an opening invoice back."""
        invoice = get_object_or_404(Invoice.objects.select_related("customer"), pk=pk)
        key = self.key()
        made = opening.take_back(
            invoice=invoice, **self.checked(), taken_by=person_of(request), key=key
        )
        return _made(AdjustmentSerializer(made))


class OpeningCreditsApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = OpeningCreditSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PaymentSerializer, **REFUSALS})
    def post(self, request):
        """Record money or a credit that a customer had before the books began."""
        key = self.key()
        made = opening.credit(**self.checked(), recorded_by=person_of(request), key=key)
        return _made(PaymentSerializer(made))


class OpeningAmountsApiView(ApiActView, ListApiView):
    filterset_class = filters.OpeningAmountListFilters
    ordering_fields = ordered_by("id", "begins_on")
    permission_required = ISSUE
    permission_to_read = SEE
    serializer_class = BeginWithSerializer
    row_serializer_class = OpeningAmountSerializer
    queryset = OpeningAmount.objects.all()

    @extend_schema(responses=OpeningAmountSerializer(many=True))
    def get(self, request):
        """List the money with which the books began, the newest first."""
        return self.list(request)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: OpeningAmountSerializer, **REFUSALS}
    )
    def post(self, request):
        """Record the cash or the money in the bank with which the books begin."""
        key = self.key()
        made = opening.amount(**self.checked(), recorded_by=person_of(request), key=key)
        return _made(OpeningAmountSerializer(made))


class OpeningAmountUndoApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = ReasonSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: OpeningAmountSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Undo an opening amount."""
        found = get_object_or_404(OpeningAmount, pk=pk)
        self.key()
        made = opening.undo_amount(opening=found, **self.checked(), undone_by=person_of(request))
        return _made(OpeningAmountSerializer(made))


class FirstNumbersApiView(ApiActView):
    permission_required = ISSUE
    permission_to_read = SEE
    serializer_class = FirstNumberSerializer

    @extend_schema(responses=NumberSeriesSerializer(many=True))
    def get(self, request):
        """List the series of numbers with the one that comes next; there are always as many."""
        return Response(NumberSeriesSerializer(number_series(), many=True).data)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: NumberSeriesSerializer, **REFUSALS}
    )
    def post(self, request):
        """Let a series that has no number yet begin at this one."""
        self.key()
        made: Counter = numbers.begin_at(**self.checked())
        [series] = [each for each in number_series() if each.series == made.series]
        return _made(NumberSeriesSerializer(series))
