"""Buying through the API: purchase orders, bills of suppliers and their payments, expenses."""

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import AnswerSerializer, RowSerializer
from apiary_sales.api.bases import ApiView, ListApiView, RetrieveApiView
from apiary_sales.api.changed import ChangedAtField
from apiary_sales.api.fields import (
    GramsCountField,
    IdField,
    PiecesCountField,
    StoreCodeField,
    counted,
    rows_of,
)
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
    unit_of,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.billing import papers_purchasing
from apiary_sales.billing.models import (
    Expense,
    ExpenseCategory,
    PaidBy,
    PurchaseOrder,
    PurchaseOrderLine,
    PurchaseReceipt,
    RecurringExpense,
    Rhythm,
    SupplierBill,
    SupplierBillLine,
    SupplierPayment,
)
from apiary_sales.billing.queries import bills as bill_queries
from apiary_sales.billing.queries import expenses as expense_queries
from apiary_sales.billing.queries import purchase_orders as order_queries
from apiary_sales.billing.services import bills, expenses, purchase_orders
from apiary_sales.billing.services.bills import BillPaid, LineBilled
from apiary_sales.billing.services.purchase_orders import LineOrdered
from inventory.bottling.models import GoodsReceipt, PackagingPart, PartReceipt, Product
from inventory.shared import documents
from inventory.shared.people import person_of
from inventory.stock import lot_codes
from inventory.stock.models import Lot, Supplier

MANAGE = "billing.manage_purchases"


class _CentsField(StrictIntegerField):
    """An amount in cents; none is negative."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 0, "max_value": CENTS_MAX, **kwargs})


class _TextField(StrictCharField):
    """A text that may be left out."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"required": False, "allow_blank": True, "max_length": 300, **kwargs})


# ------------------------------------------------------------------ purchase orders


def _lines() -> Any:
    return PurchaseOrderLine.objects.select_related("order", "part__item", "product__item")


class OrderedLineSerializer(RowSerializer):
    """A line in its `unit`, and what came in for it."""

    what = serializers.CharField(source="thing.name")
    part: serializers.SlugRelatedField = serializers.SlugRelatedField(
        slug_field="code", read_only=True, allow_null=True
    )
    product: serializers.SlugRelatedField = serializers.SlugRelatedField(
        slug_field="code", read_only=True, allow_null=True
    )
    unit = serializers.SerializerMethodField()
    received = serializers.IntegerField()

    class Meta:
        model = PurchaseOrderLine
        fields = [
            "id",
            "what",
            "part",
            "product",
            "supplier_code",
            "quantity",
            "unit",
            "received",
            "unit_price",
            "amount_cents",
        ]

    def get_unit(self, line: PurchaseOrderLine) -> str:
        return unit_of(line.item)


class PurchaseOrderSerializer(RowSerializer):
    changed_at = ChangedAtField()
    supplier = serializers.CharField(source="supplier.name")
    lines = OrderedLineSerializer(many=True)

    class Meta:
        model = PurchaseOrder
        fields = [
            "id",
            "number",
            "supplier",
            "status",
            "ordered_on",
            "expected_on",
            "freight_cents",
            "note",
            "closed_reason",
            "lines",
            "changed_at",
        ]


class LineOrderedSerializer(serializers.Serializer):
    """A part in pieces, or goods in pieces or grams; a price is of a piece or a unit of weight."""

    part = CodeField(queryset=PackagingPart.objects.all(), required=False, allow_null=True)
    product = CodeField(queryset=Product.objects.of_goods(), required=False, allow_null=True)
    pieces = PiecesCountField(required=False, allow_null=True)
    grams = GramsCountField(required=False, allow_null=True)
    unit_price = StrictDecimalField(max_digits=12, decimal_places=4, min_value=0)
    supplier_code = _TextField(max_length=60)

    def validate(self, attrs: dict[str, Any]) -> Any:
        part, product = attrs.get("part"), attrs.get("product")
        thing = part or product
        if thing is None or (part and product):
            raise serializers.ValidationError(
                {"product": _("Send a product or a part, one of the two.")}
            )
        right, wrong = ("grams", "pieces") if thing.item.is_weighed else ("pieces", "grams")
        quantity = counted(right, attrs.get(right), wrong, attrs.get(wrong), thing.name)
        return LineOrdered(thing, quantity, attrs["unit_price"], attrs.get("supplier_code", ""))


class _OrderSerializer(serializers.Serializer):
    lines = rows_of(LineOrderedSerializer, allow_empty=False, max_length=purchase_orders.LINES_MAX)
    expected_on = serializers.DateField(required=False, allow_null=True)
    freight_cents = _CentsField(required=False)
    note = _TextField()


class PurchaseOrderToPlaceSerializer(_OrderSerializer):
    """What is ordered from a supplier, named by their key."""

    supplier = IdField(queryset=Supplier.objects.all())
    ordered_on = serializers.DateField(required=False, allow_null=True)


class PurchaseOrderToChangeSerializer(_OrderSerializer):
    """All lines of the order as they are from now on, and what is said beside them."""


class PurchaseOrderToCloseSerializer(serializers.Serializer):
    """Why the rest is no longer expected; needed while something is missing."""

    reason = _TextField()


class PurchaseToReceiveSerializer(serializers.Serializer):
    """What came for a line: pieces or grams, at what was ordered unless a cost is sent."""

    line = IdField(queryset=_lines())
    place = StoreCodeField()
    pieces = PiecesCountField(required=False, allow_null=True)
    grams = GramsCountField(required=False, allow_null=True)
    received_on = serializers.DateField()
    cost_cents = _CentsField(required=False, allow_null=True)
    maker_lot = _TextField(max_length=lot_codes.CODE_LENGTH_MAX)
    best_by = serializers.DateField(required=False, allow_null=True)
    more_is_right = serializers.BooleanField(
        required=False,
        default=False,
        help_text="Confirms that more came than was ordered.",
    )


class PurchaseToLinkSerializer(serializers.Serializer):
    """A delivery that was recorded without the order, named by its key: one of the two."""

    line = IdField(queryset=_lines())
    part_receipt = IdField(queryset=PartReceipt.objects.all(), required=False, allow_null=True)
    goods_receipt = IdField(queryset=GoodsReceipt.objects.all(), required=False, allow_null=True)


class PurchaseReceiptSerializer(RowSerializer):
    order = serializers.CharField(source="line.order.number")
    cost_cents = serializers.IntegerField(source="receipt.cost_cents")
    received_on = serializers.DateField(source="receipt.received_on")
    posting = serializers.IntegerField(source="receipt.posting_id")

    class Meta:
        model = PurchaseReceipt
        fields = [
            "id",
            "order",
            "line",
            "part_receipt",
            "goods_receipt",
            "cost_cents",
            "received_on",
            "posting",
        ]


def _order_answer(order: PurchaseOrder, code: int = status.HTTP_200_OK) -> Response:
    shown = order_queries.orders().get(pk=order.pk)
    return Response(PurchaseOrderSerializer(shown).data, status=code)


def _line_of(order: PurchaseOrder, line: PurchaseOrderLine) -> PurchaseOrderLine:
    if line.order_id != order.pk:
        raise serializers.ValidationError(
            {"line": [_("This line is of another order than %(order)s.") % {"order": order}]}
        )
    return line


class PurchaseOrdersApiView(ApiActView, ListApiView):
    filterset_class = filters.PurchaseOrderListFilters
    ordering_fields = ordered_by(
        "id", "changed_at", "number", "ordered_on", "expected_on", supplier="supplier__name"
    )
    permission_required = MANAGE
    serializer_class = PurchaseOrderToPlaceSerializer
    row_serializer_class = PurchaseOrderSerializer

    def get_queryset(self) -> Any:
        return order_queries.orders()

    @extend_schema(
        operation_id="purchase_orders_list", responses=PurchaseOrderSerializer(many=True)
    )
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        """List the purchase orders, the newest first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        request=PurchaseOrderToPlaceSerializer,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: PurchaseOrderSerializer, **REFUSALS},
    )
    def post(self, request):
        """Write down an order to a supplier."""
        key = self.key()
        made = purchase_orders.place(**self.checked(), ordered_by=person_of(request), key=key)
        return _order_answer(made, status.HTTP_201_CREATED)


class PurchaseOrderApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = PurchaseOrderToChangeSerializer

    @extend_schema(operation_id="purchase_order", responses=PurchaseOrderSerializer)
    def get(self, request, number: str):
        """One purchase order with what came in for it."""
        return _order_answer(get_object_or_404(PurchaseOrder, number=number))

    @extend_schema(responses={200: PurchaseOrderSerializer, **REFUSALS})
    def put(self, request, number: str):
        """Replace the lines of an order of which nothing came in yet."""
        order = get_object_or_404(PurchaseOrder, number=number)
        return _order_answer(purchase_orders.change(order=order, **self.checked()))


class PurchaseOrderCloseApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = PurchaseOrderToCloseSerializer

    @extend_schema(responses={200: PurchaseOrderSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Expect no more of an order: closed, or cancelled where nothing came in."""
        order = get_object_or_404(PurchaseOrder, number=number)
        return _order_answer(purchase_orders.close(order=order, **self.checked()))


class PurchaseReceiveApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = PurchaseToReceiveSerializer
    counted_in = "pieces"

    def field_of(self, parameter: str | None) -> str | None:
        is_quantity = parameter in ("quantity", "pieces")
        return self.counted_in if is_quantity else super().field_of(parameter)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: PurchaseReceiptSerializer, **REFUSALS}
    )
    def post(self, request, number: str):
        """Receive what came for a line of an order."""
        order = get_object_or_404(PurchaseOrder, number=number)
        key = self.key()
        data = self.checked()
        line = _line_of(order, data.pop("line"))
        self.counted_in, wrong = (
            ("grams", "pieces") if line.item.is_weighed else ("pieces", "grams")
        )
        sent = {name: data.pop(name, None) for name in ("pieces", "grams")}
        quantity = counted(
            self.counted_in, sent[self.counted_in], wrong, sent[wrong], line.thing.name
        )
        made = purchase_orders.receive(
            line=line, quantity=quantity, **data, recorded_by=person_of(request), key=key
        )
        return Response(PurchaseReceiptSerializer(made).data, status=status.HTTP_201_CREATED)


class PurchaseLinkApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = PurchaseToLinkSerializer

    @extend_schema(responses={201: PurchaseReceiptSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Link a delivery that was recorded without the order to a line of it."""
        order = get_object_or_404(PurchaseOrder, number=number)
        data = self.checked()
        made = purchase_orders.link(line=_line_of(order, data.pop("line")), **data)
        return Response(PurchaseReceiptSerializer(made).data, status=status.HTTP_201_CREATED)


class PurchaseOrderPaperApiView(PaperApiView):
    permission_required = MANAGE

    @extend_schema(operation_id="purchase_order_paper", responses=PDF)
    def get(self, request, number: str):
        """The purchase order as a paper for the supplier."""
        order = get_object_or_404(order_queries.orders(), number=number)
        content = papers_purchasing.purchase_order(order)
        return documents.pdf_response(f"purchase-order-{order.number}.pdf", content)


# ------------------------------------------------------------------ bills


class SupplierBillLineSerializer(RowSerializer):
    season = serializers.IntegerField(source="season_expense.season", default=None)
    difference_cents = serializers.IntegerField()

    class Meta:
        model = SupplierBillLine
        fields = [
            "id",
            "description",
            "category",
            "part_receipt",
            "goods_receipt",
            "honey_lot",
            "amount_cents",
            "cleared_cents",
            "difference_cents",
            "season",
        ]


class SupplierBillSerializer(RowSerializer):
    changed_at = ChangedAtField()
    supplier = serializers.CharField(source="supplier.name")
    lines = SupplierBillLineSerializer(many=True)
    counts_on = serializers.DateField(source="entry.entered_on")
    undone_on = serializers.DateField(source="undone_entry.happened_on", default=None)

    class Meta:
        model = SupplierBill
        fields = [
            "id",
            "supplier",
            "number",
            "billed_on",
            "counts_on",
            "due_on",
            "discount_percent",
            "discount_until",
            "currency",
            "tax_cents",
            "total_cents",
            "open_cents",
            "note",
            "undone_on",
            "undone_reason",
            "lines",
            "changed_at",
        ]


class LineBilledSerializer(serializers.Serializer):
    """An amount for one delivery (a key of parts, goods or bought honey), or for a category."""

    amount_cents = _CentsField()
    part_receipt = IdField(queryset=PartReceipt.objects.all(), required=False, allow_null=True)
    goods_receipt = IdField(queryset=GoodsReceipt.objects.all(), required=False, allow_null=True)
    honey_lot = IdField(queryset=Lot.objects.all(), required=False, allow_null=True)
    takes_over_cost = serializers.BooleanField(required=False)
    category = serializers.ChoiceField(ExpenseCategory.choices, required=False)
    description = _TextField(max_length=200)
    season = StrictIntegerField(required=False, allow_null=True, min_value=1900, max_value=2200)

    def validate(self, attrs: dict[str, Any]) -> Any:
        named = [attrs.pop(name, None) for name in ("part_receipt", "goods_receipt", "honey_lot")]
        deliveries = [each for each in named if each is not None]
        if len(deliveries) > 1:
            raise serializers.ValidationError(
                {"part_receipt": _("Send one delivery in a line, and a line for each.")}
            )
        return LineBilled(delivery=deliveries[0] if deliveries else None, **attrs)


class SupplierBillToEnterSerializer(serializers.Serializer):
    """A bill of a supplier, named by their key; `total_cents` is compared with the lines."""

    supplier = IdField(queryset=Supplier.objects.all())
    number = StrictCharField(max_length=60)
    billed_on = serializers.DateField()
    due_on = serializers.DateField(required=False, allow_null=True)
    lines = rows_of(LineBilledSerializer, allow_empty=False, max_length=bills.LINES_MAX)
    tax_cents = _CentsField(required=False)
    total_cents = _CentsField(required=False, allow_null=True)
    discount_percent = StrictDecimalField(
        max_digits=4, decimal_places=2, min_value=0, required=False
    )
    discount_until = serializers.DateField(required=False, allow_null=True)
    note = _TextField()


class UndoSerializer(serializers.Serializer):
    """Why something is undone, and the day on which that counts: today, unless another is sent."""

    reason = StrictCharField(max_length=300)
    undone_on = serializers.DateField(required=False, allow_null=True)


class SupplierAllocationSerializer(AnswerSerializer):
    bill = serializers.CharField(source="bill.number")
    amount_cents = serializers.IntegerField()
    discount_cents = serializers.IntegerField()


class SupplierPaymentSerializer(RowSerializer):
    supplier = serializers.CharField(source="supplier.name")
    shares = SupplierAllocationSerializer(source="allocations", many=True)
    undone_on = serializers.DateField(source="undone_entry.happened_on", default=None)

    class Meta:
        model = SupplierPayment
        fields = [
            "id",
            "supplier",
            "paid_on",
            "paid_by",
            "amount_cents",
            "reference",
            "note",
            "shares",
            "undone_on",
            "undone_reason",
        ]


class BillPaidSerializer(serializers.Serializer):
    """So much of the payment for one bill, and the discount taken with it."""

    bill = IdField(queryset=SupplierBill.objects.select_related("supplier"))
    amount_cents = _CentsField()
    discount_cents = _CentsField(required=False, default=0)

    def validate(self, attrs: dict[str, Any]) -> Any:
        return BillPaid(**attrs)


class SupplierPaymentToRecordSerializer(serializers.Serializer):
    """Money paid to a supplier: the sum of its shares."""

    supplier = IdField(queryset=Supplier.objects.all())
    shares = rows_of(BillPaidSerializer, allow_empty=False, max_length=bills.LINES_MAX)
    paid_by = serializers.ChoiceField(PaidBy.choices)
    paid_on = serializers.DateField(required=False, allow_null=True)
    reference = _TextField(max_length=60)
    note = _TextField()


class SupplierBalanceSerializer(AnswerSerializer):
    supplier = serializers.CharField(source="supplier.name")
    open_cents = serializers.IntegerField()
    overdue_cents = serializers.IntegerField()
    bills = serializers.IntegerField(help_text="How many bills are to be paid.")
    not_billed_cents = serializers.IntegerField(help_text="What came in and has no bill yet.")
    paid_on = serializers.DateField(allow_null=True, help_text="The day of the last payment.")


def _bills() -> Any:
    return bill_queries.bills(on=timezone.localdate()).prefetch_related("lines__season_expense")


class SupplierBillsApiView(ApiActView, ListApiView):
    filterset_class = filters.SupplierBillListFilters
    ordering_fields = ordered_by(
        "id",
        "changed_at",
        "billed_on",
        "due_on",
        "total_cents",
        "open_cents",
        supplier="supplier__name",
    )
    permission_required = MANAGE
    serializer_class = SupplierBillToEnterSerializer
    row_serializer_class = SupplierBillSerializer

    def field_of(self, parameter: str | None) -> str | None:
        # A delivery is sent in one of three fields; the line says enough.
        return super().field_of((parameter or "").removesuffix(".delivery") or None)

    def get_queryset(self) -> Any:
        return _bills().select_related("entry")

    @extend_schema(operation_id="supplier_bills_list", responses=SupplierBillSerializer(many=True))
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        """List the bills of suppliers, due first first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        request=SupplierBillToEnterSerializer,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: SupplierBillSerializer, **REFUSALS},
    )
    def post(self, request):
        """Enter a bill of a supplier, so that it is owed."""
        key = self.key()
        made = bills.enter(**self.checked(), entered_by=person_of(request), key=key)
        return Response(SupplierBillSerializer(made).data, status=status.HTTP_201_CREATED)


class SupplierBillApiView(RetrieveApiView):
    """One bill of a supplier."""

    permission_classes = [ViewPermission]
    permission_required = MANAGE
    serializer_class = SupplierBillSerializer
    queryset = SupplierBill.objects.select_related("supplier", "entry", "undone_entry")


class SupplierBillUndoApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = UndoSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={200: SupplierBillSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Undo a bill by the opposite entry."""
        bill = get_object_or_404(SupplierBill, pk=pk)
        key = self.key()
        made = bills.undo(bill=bill, **self.checked(), undone_by=person_of(request), key=key)
        return Response(SupplierBillSerializer(made).data)


class SupplierPaymentsApiView(ApiActView, ListApiView):
    filterset_class = filters.SupplierPaymentListFilters
    ordering_fields = ordered_by("id", "paid_on", "amount_cents", supplier="supplier__name")
    permission_required = MANAGE
    serializer_class = SupplierPaymentToRecordSerializer
    row_serializer_class = SupplierPaymentSerializer
    queryset = (
        SupplierPayment.objects.select_related("supplier", "undone_entry")
        .prefetch_related("allocations__bill")
        .order_by("-id")
    )

    @extend_schema(
        operation_id="supplier_payments_list", responses=SupplierPaymentSerializer(many=True)
    )
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        """List the payments to suppliers, the newest first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        request=SupplierPaymentToRecordSerializer,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: SupplierPaymentSerializer, **REFUSALS},
    )
    def post(self, request):
        """Record money paid for one or more bills of a supplier."""
        key = self.key()
        made = bills.pay(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(SupplierPaymentSerializer(made).data, status=status.HTTP_201_CREATED)


class SupplierPaymentApiView(RetrieveApiView):
    """One payment to a supplier."""

    permission_classes = [ViewPermission]
    permission_required = MANAGE
    serializer_class = SupplierPaymentSerializer
    queryset = SupplierPayment.objects.select_related("supplier", "undone_entry")


class SupplierPaymentUndoApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = UndoSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={200: SupplierPaymentSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Undo a payment to a supplier; its bills are open again."""
        payment = get_object_or_404(SupplierPayment, pk=pk)
        key = self.key()
        made = bills.undo_payment(
            payment=payment, **self.checked(), undone_by=person_of(request), key=key
        )
        return Response(SupplierPaymentSerializer(made).data)


class SupplierBalancesApiView(ApiView):
    """What each supplier is owed today, and what came in without a bill, in one answer."""

    permission_classes = [ViewPermission]
    permission_required = MANAGE

    @extend_schema(operation_id="supplier_balances", responses=SupplierBalanceSerializer(many=True))
    def get(self, request) -> Response:
        found = bill_queries.balances(timezone.localdate()).rows
        return Response(SupplierBalanceSerializer(found, many=True).data)


# ------------------------------------------------------------------ expenses


class ExpenseSerializer(RowSerializer):
    changed_at = ChangedAtField()
    season = serializers.IntegerField(source="season_expense.season", default=None)
    counts_on = serializers.DateField(source="entry.entered_on")
    undone_on = serializers.DateField(source="undone_entry.happened_on", default=None)

    class Meta:
        model = Expense
        fields = [
            "id",
            "spent_on",
            "counts_on",
            "payee",
            "category",
            "paid_by",
            "amount_cents",
            "tax_cents",
            "season",
            "recurring",
            "note",
            "undone_on",
            "undone_reason",
            "changed_at",
        ]


class _SpentSerializer(serializers.Serializer):
    payee = StrictCharField(max_length=120)
    category = serializers.ChoiceField(ExpenseCategory.choices)
    amount_cents = _CentsField(help_text="All that is paid, tax included.")
    tax_cents = _CentsField(required=False, help_text="What of it you get back.")
    paid_by = serializers.ChoiceField(PaidBy.choices)
    note = _TextField(max_length=200)


class ExpenseToEnterSerializer(_SpentSerializer):
    """Money that was spent; with a season, it is in the cost of that season's honey too."""

    spent_on = serializers.DateField(required=False, allow_null=True)
    season = StrictIntegerField(required=False, allow_null=True, min_value=1900, max_value=2200)
    recurring = IdField(
        queryset=RecurringExpense.objects.all(),
        required=False,
        allow_null=True,
        help_text="It is the next one of this expense that comes again.",
    )


class RecurringToSaveSerializer(_SpentSerializer):
    """An expense that comes again, from `next_on` on."""

    rhythm = serializers.ChoiceField(Rhythm.choices)
    next_on = serializers.DateField()
    for_season = serializers.BooleanField(required=False)
    is_active = serializers.BooleanField(required=False)


class RecurringExpenseSerializer(RowSerializer):
    class Meta:
        model = RecurringExpense
        fields = [
            "id",
            "payee",
            "category",
            "amount_cents",
            "tax_cents",
            "paid_by",
            "rhythm",
            "next_on",
            "for_season",
            "is_active",
            "note",
        ]


class ProposedSerializer(serializers.Serializer):
    """The day that was proposed: the `next_on` of the expense that comes again."""

    due_on = serializers.DateField()


class ExpensesApiView(ApiActView, ListApiView):
    filterset_class = filters.ExpenseListFilters
    ordering_fields = ordered_by("id", "spent_on", "payee", "amount_cents", "changed_at")
    permission_required = MANAGE
    serializer_class = ExpenseToEnterSerializer
    row_serializer_class = ExpenseSerializer

    def get_queryset(self) -> Any:
        return expense_queries.expenses()

    @extend_schema(operation_id="expenses_list", responses=ExpenseSerializer(many=True))
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        """List the expenses, the newest first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        request=ExpenseToEnterSerializer,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: ExpenseSerializer, **REFUSALS},
    )
    def post(self, request):
        """Enter money that was spent."""
        key = self.key()
        made = expenses.enter(**self.checked(), entered_by=person_of(request), key=key)
        return Response(ExpenseSerializer(made).data, status=status.HTTP_201_CREATED)


class ExpenseApiView(RetrieveApiView):
    """One expense."""

    permission_classes = [ViewPermission]
    permission_required = MANAGE
    serializer_class = ExpenseSerializer
    queryset = Expense.objects.select_related("entry", "undone_entry", "season_expense")


class ExpenseUndoApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = UndoSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: ExpenseSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Undo an expense by the opposite entry."""
        expense = get_object_or_404(Expense, pk=pk)
        key = self.key()
        made = expenses.undo(
            expense=expense, **self.checked(), undone_by=person_of(request), key=key
        )
        return Response(ExpenseSerializer(made).data)


class RecurringExpensesApiView(ApiActView, ListApiView):
    filterset_class = filters.RecurringExpenseListFilters
    ordering_fields = ordered_by("id", "next_on", "payee")
    permission_required = MANAGE
    serializer_class = RecurringToSaveSerializer
    row_serializer_class = RecurringExpenseSerializer
    queryset = RecurringExpense.objects.order_by("next_on", "id")

    @extend_schema(
        operation_id="recurring_expenses_list", responses=RecurringExpenseSerializer(many=True)
    )
    def get(self, request, *args: Any, **kwargs: Any) -> Response:
        """List the expenses that come again, the next one first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        request=RecurringToSaveSerializer,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: RecurringExpenseSerializer, **REFUSALS},
    )
    def post(self, request):
        """Keep an expense that comes again."""
        made = expenses.add_recurring(key=self.key(), **self.checked())
        return Response(RecurringExpenseSerializer(made).data, status=status.HTTP_201_CREATED)


class RecurringExpenseApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = RecurringToSaveSerializer

    @extend_schema(operation_id="recurring_expense", responses=RecurringExpenseSerializer)
    def get(self, request, pk: int):
        """One expense that comes again."""
        recurring = get_object_or_404(RecurringExpense, pk=pk)
        return Response(RecurringExpenseSerializer(recurring).data)

    @extend_schema(responses={200: RecurringExpenseSerializer, **REFUSALS})
    def put(self, request, pk: int):
        """Change an expense that comes again; those entered before do not change."""
        recurring = get_object_or_404(RecurringExpense, pk=pk)
        made = expenses.change_recurring(recurring, **self.checked())
        return Response(RecurringExpenseSerializer(made).data)


class RecurringEnterApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = ProposedSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: ExpenseSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Enter the next one with the figures that are proposed."""
        recurring = get_object_or_404(RecurringExpense, pk=pk)
        key = self.key()
        made = expenses.enter_next(
            recurring=recurring, **self.checked(), entered_by=person_of(request), key=key
        )
        return Response(ExpenseSerializer(made).data, status=status.HTTP_201_CREATED)


class RecurringSkipApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = ProposedSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={200: RecurringExpenseSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Say that the next one did not come this time."""
        recurring = get_object_or_404(RecurringExpense, pk=pk)
        key = self.key()
        expenses.skip_next(
            recurring=recurring, **self.checked(), skipped_by=person_of(request), key=key
        )
        recurring.refresh_from_db()
        return Response(RecurringExpenseSerializer(recurring).data)
