"""The filters of each list of the API."""

from typing import Any

from auditlog.models import LogEntry
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts.models import SignIn, User
from apiary_sales.api.lists import (
    ChoiceFilter,
    DayFilter,
    FollowedListFilterSet,
    FromDayFilter,
    IdFilter,
    KeyFilter,
    ListFilterSet,
    UntilDayFilter,
    WholeNumberFilter,
    YesNoFilter,
)
from apiary_sales.billing.models import (
    Adjustment,
    CashCount,
    DepositSlip,
    Expense,
    ExpenseCategory,
    HandedInSale,
    HonestyBox,
    HonestyCount,
    Invoice,
    MarketDay,
    MoneyMove,
    OpeningAmount,
    PaidBy,
    Payment,
    PurchaseOrder,
    RecurringExpense,
    ReturnRequest,
    StandDay,
    StandSale,
    SupplierBill,
    SupplierPayment,
)
from apiary_sales.billing.queries import bills, money
from apiary_sales.customers.models import Customer, DeliveryAddress, ExemptionCertificate
from apiary_sales.mailing.models import Email, ReminderPause
from apiary_sales.orders.late_cost_models import LateCosting
from apiary_sales.orders.models import Order, Recall
from apiary_sales.orders.queries import orders
from apiary_sales.orders.trade_models import (
    ConsignmentDelivery,
    ConsignmentShelf,
    Contract,
    DeliveryRound,
    StandingOrder,
)
from apiary_sales.pricing.models import BulkPrice, GoodsCategory, Service, TaxRate, WeightPrice
from inventory.bottling.models import (
    BottlingDay,
    BottlingRun,
    Brand,
    Product,
    ReturnedJars,
    Size,
    Variety,
)
from inventory.shared.models import Attachment
from inventory.stock.models import (
    Balance,
    BlendPlan,
    Cleaning,
    CleaningTask,
    CountLine,
    CountSheet,
    DipReading,
    Item,
    Lot,
    Measurement,
    Place,
    Posting,
    Shortage,
    Supplier,
    Warming,
)


def _by_id(field_name: str, model: Any) -> IdFilter:
    return IdFilter(field_name, rows=model._default_manager.all())


def _by(field_name: str, model: Any, key: str = "code") -> KeyFilter:
    return KeyFilter(field_name, rows=model._default_manager.all(), key=key)


# ------------------------------------------------------------------ stock


class PlaceListFilters(FollowedListFilterSet):
    class Meta:
        model = Place
        fields = ["kind", "is_active"]


class LotListFilters(FollowedListFilterSet):
    product = _by("product", Product)
    product_id = _by_id("product", Product)
    supplier = _by("supplier", Supplier, "name")
    supplier_id = _by_id("supplier", Supplier)
    owner_id = _by_id("owner", Supplier)
    place = KeyFilter(
        "place",
        rows=Place.objects.all(),
        method="at",
        label=_("Lots of which there is something at this place now."),
    )
    made_on_from = FromDayFilter("made_on")
    made_on_until = UntilDayFilter("made_on")
    best_by_from = FromDayFilter("best_by")
    best_by_until = UntilDayFilter("best_by")

    class Meta:
        model = Lot
        fields = ["kind", "code", "season", "floral_source", "is_on_hold", "country"]

    def at(self, found: QuerySet, name: str, code: Any) -> QuerySet:
        there = Balance.objects.filter(place__code=code, is_physical=True, quantity__gt=0)
        return found.filter(pk__in=there.values("lot"))


class SizeListFilters(FollowedListFilterSet):
    class Meta:
        model = Size
        fields = ["declared_unit", "is_active"]


class ProductListFilters(FollowedListFilterSet):
    size = _by("size", Size)
    size_id = _by_id("size", Size)
    variety = _by("variety", Variety, "name")
    variety_id = _by_id("variety", Variety)
    brand = _by("brand", Brand, "name")
    brand_id = _by_id("brand", Brand)

    class Meta:
        model = Product
        fields = ["kind", "form", "gtin", "is_active"]


class StockListFilters(ListFilterSet):
    kind = ChoiceFilter("item__kind", choices=Item.Kind.choices)
    item_id = _by_id("item", Item)
    place = _by("place", Place)
    place_id = _by_id("place", Place)
    lot = _by("lot", Lot)
    lot_id = _by_id("lot", Lot)
    owner_id = _by_id("lot__owner", Supplier)

    class Meta:
        model = Balance
        fields: list[str] = []


class PostingListFilters(ListFilterSet):
    """Rows of which some line, as it was entered, is of the item, place or lot."""

    item_id = IdFilter("lines__item", rows=Item.objects.all(), distinct=True)
    place = KeyFilter("lines__place", rows=Place.objects.all(), distinct=True)
    place_id = IdFilter("lines__place", rows=Place.objects.all(), distinct=True)
    lot = KeyFilter("lines__lot", rows=Lot.objects.all(), distinct=True)
    lot_id = IdFilter("lines__lot", rows=Lot.objects.all(), distinct=True)
    occurred_on_from = FromDayFilter("occurred_at")
    occurred_on_until = UntilDayFilter("occurred_at")
    recorded_on_from = FromDayFilter("recorded_at")
    recorded_on_until = UntilDayFilter("recorded_at")

    class Meta:
        model = Posting
        fields = ["kind"]


class PlacePostingListFilters(ListFilterSet):
    recorded_by = _by("recorded_by", User, "username")
    occurred_on_from = FromDayFilter("occurred_at")
    occurred_on_until = UntilDayFilter("occurred_at")

    class Meta:
        model = Posting
        fields = ["kind"]


class DipListFilters(ListFilterSet):
    place = _by("place", Place)
    place_id = _by_id("place", Place)
    lot = _by("lot", Lot)
    lot_id = _by_id("lot", Lot)
    read_by = _by("read_by", User, "username")
    read_on_from = FromDayFilter("read_at")
    read_on_until = UntilDayFilter("read_at")

    class Meta:
        model = DipReading
        fields: list[str] = []


class HoneyOfOthersListFilters(ListFilterSet):
    place = _by("place", Place)
    place_id = _by_id("place", Place)
    lot = _by("lot", Lot)
    lot_id = _by_id("lot", Lot)

    class Meta:
        model = Balance
        fields: list[str] = []


class BlendPlanListFilters(ListFilterSet):
    target = _by("target", Place)
    target_id = _by_id("target", Place)
    planned_on_from = FromDayFilter("planned_at")
    planned_on_until = UntilDayFilter("planned_at")

    class Meta:
        model = BlendPlan
        fields = ["status"]


class ShortageListFilters(ListFilterSet):
    kind = ChoiceFilter("item__kind", choices=Item.Kind.choices)
    item_id = _by_id("item", Item)
    place = _by("place", Place)
    place_id = _by_id("place", Place)
    lot_id = _by_id("lot", Lot)
    day_from = FromDayFilter("posting__occurred_at")
    day_until = UntilDayFilter("posting__occurred_at")

    class Meta:
        model = Shortage
        fields: list[str] = []


class MeasurementListFilters(ListFilterSet):
    measured_on_from = FromDayFilter("measured_on")
    measured_on_until = UntilDayFilter("measured_on")

    class Meta:
        model = Measurement
        fields = ["what", "is_laboratory"]


class WarmingListFilters(ListFilterSet):
    """Warmings that touch the days from one to another."""

    place = _by("place", Place)
    place_id = _by_id("place", Place)
    is_removed = YesNoFilter("removed_at", lookup_expr="isnull", exclude=True)
    day_from = FromDayFilter("ended_on")
    day_until = UntilDayFilter("started_on")

    class Meta:
        model = Warming
        fields: list[str] = []


class CleaningTaskListFilters(ListFilterSet):
    place = _by("place", Place)
    place_id = _by_id("place", Place)

    class Meta:
        model = CleaningTask
        fields = ["kind", "schedule", "is_active"]


class CleaningListFilters(ListFilterSet):
    task_id = _by_id("task", CleaningTask)
    is_removed = YesNoFilter("removed_at", lookup_expr="isnull", exclude=True)
    cleaned_on_from = FromDayFilter("cleaned_on")
    cleaned_on_until = UntilDayFilter("cleaned_on")

    class Meta:
        model = Cleaning
        fields: list[str] = []


class CountSheetListFilters(ListFilterSet):
    place = _by("place", Place)
    place_id = _by_id("place", Place)
    is_open = YesNoFilter("closed_at", method="open")
    opened_on_from = FromDayFilter("opened_at")
    opened_on_until = UntilDayFilter("opened_at")

    class Meta:
        model = CountSheet
        fields = ["is_blind"]

    def open(self, found: QuerySet, name: str, value: Any) -> QuerySet:
        is_open = Q(closed_at=None, cancelled_at=None)
        return found.filter(is_open if value == "true" else ~is_open)


class CountLineListFilters(ListFilterSet):
    place = _by("place", Place)
    place_id = _by_id("place", Place)
    item_id = _by_id("item", Item)
    lot_id = _by_id("lot", Lot)

    class Meta:
        model = CountLine
        fields = ["how"]


class SupplierListFilters(ListFilterSet):
    class Meta:
        model = Supplier
        fields = ["name", "kind", "country", "is_active"]


# ------------------------------------------------------------------ bottling


class RunListFilters(FollowedListFilterSet):
    product = _by("product", Product)
    product_id = _by_id("product", Product)
    source = _by("source", Place)
    source_id = _by_id("source", Place)
    target = _by("target", Place)
    target_id = _by_id("target", Place)
    lot_id = _by_id("lot", Lot)
    planned_for_from = FromDayFilter("planned_for")
    planned_for_until = UntilDayFilter("planned_for")

    class Meta:
        model = BottlingRun
        fields = ["status", "lot_code", "drawn_by"]


class BottlingDayListFilters(ListFilterSet):
    source = _by("source", Place)
    source_id = _by_id("source", Place)
    target = _by("target", Place)
    target_id = _by_id("target", Place)
    bottled_on_from = FromDayFilter("bottled_on")
    bottled_on_until = UntilDayFilter("bottled_on")

    class Meta:
        model = BottlingDay
        fields = ["status"]


class ReturnedJarsListFilters(ListFilterSet):
    lot_id = _by_id("lot", Lot)
    product_id = _by_id("lot__product", Product)

    class Meta:
        model = ReturnedJars
        fields: list[str] = []


class VarietyListFilters(ListFilterSet):
    class Meta:
        model = Variety
        fields = ["name", "is_active"]


class BrandListFilters(ListFilterSet):
    class Meta:
        model = Brand
        fields = ["name", "is_active"]


# ------------------------------------------------------------------ customers and orders


class CustomerListFilters(FollowedListFilterSet):
    class Meta:
        model = Customer
        fields = ["name", "kind", "tier", "country_code", "language", "is_active"]


class DeliveryAddressListFilters(ListFilterSet):
    class Meta:
        model = DeliveryAddress
        fields = ["name", "country"]


class CertificateListFilters(ListFilterSet):
    customer = _by("customer", Customer, "name")
    customer_id = _by_id("customer", Customer)
    expires_from = FromDayFilter("expires")
    expires_until = UntilDayFilter("expires")

    class Meta:
        model = ExemptionCertificate
        fields = ["number", "jurisdiction", "reason"]


class OrderListFilters(FollowedListFilterSet):
    """Orders and quotes; `to_fill` are the orders of which something is left to hand over."""

    status = ChoiceFilter(
        choices=[*Order.Status.choices, ("to_fill", _("left to fill"))], method="in_state"
    )
    customer = _by("customer", Customer, "name")
    customer_id = _by_id("customer", Customer)
    product = KeyFilter("lines__product", rows=Product.objects.all(), distinct=True)
    product_id = IdFilter("lines__product", rows=Product.objects.all(), distinct=True)
    placed_on_from = FromDayFilter("placed_on")
    placed_on_until = UntilDayFilter("placed_on")
    wanted_on_from = FromDayFilter("wanted_on")
    wanted_on_until = UntilDayFilter("wanted_on")

    class Meta:
        model = Order
        fields = ["channel", "customer_reference"]

    def in_state(self, found: QuerySet, name: str, status: Any) -> QuerySet:
        """A quote past its last day counts as expired, as its row says."""
        return found.filter(pk__in=orders.find(status=status).values("pk"))


class ContractListFilters(ListFilterSet):
    customer = _by("customer", Customer, "name")
    customer_id = _by_id("customer", Customer)
    runs_on = DayFilter("ends_on", method="running", label=_("Contracts that run on this day."))

    class Meta:
        model = Contract
        fields = ["colour_class", "floral_source"]

    def running(self, found: QuerySet, name: str, day: Any) -> QuerySet:
        return found.filter(starts_on__lte=day, ends_on__gte=day)


class StandingOrderListFilters(ListFilterSet):
    customer = _by("customer", Customer, "name")
    customer_id = _by_id("customer", Customer)

    class Meta:
        model = StandingOrder
        fields = ["channel", "rhythm", "is_paused"]


class ConsignmentShelfListFilters(ListFilterSet):
    customer = _by("customer", Customer, "name")
    customer_id = _by_id("customer", Customer)

    class Meta:
        model = ConsignmentShelf
        fields: list[str] = []


class ConsignmentDeliveryListFilters(ListFilterSet):
    shelf = KeyFilter("shelf__place", rows=Place.objects.all())
    shelf_id = _by_id("shelf", ConsignmentShelf)
    customer_id = _by_id("shelf__customer", Customer)
    planned_on_from = FromDayFilter("planned_on")
    planned_on_until = UntilDayFilter("planned_on")

    class Meta:
        model = ConsignmentDelivery
        fields = ["status"]


class DeliveryRoundListFilters(ListFilterSet):
    day_from = FromDayFilter("day")
    day_until = UntilDayFilter("day")

    class Meta:
        model = DeliveryRound
        fields = ["vehicle", "driver"]


class RecallListFilters(ListFilterSet):
    is_finished = YesNoFilter("finished_at", lookup_expr="isnull", exclude=True)
    started_on_from = FromDayFilter("started_at")
    started_on_until = UntilDayFilter("started_at")

    class Meta:
        model = Recall
        fields = ["kind"]


class LateCostingListFilters(ListFilterSet):
    recorded_on_from = FromDayFilter("recorded_at")
    recorded_on_until = UntilDayFilter("recorded_at")

    class Meta:
        model = LateCosting
        fields = ["season"]


# ------------------------------------------------------------------ money


INVOICE_STATES = [
    ("open", _("something is left to pay")),
    ("overdue", _("left to pay after its day")),
    ("paid", _("paid")),
    ("credit", _("credit note")),
    ("stand", _("stand receipt")),
]


class InvoiceListFilters(FollowedListFilterSet):
    """Invoices, receipts and credit notes."""

    state = ChoiceFilter(choices=INVOICE_STATES, method="in_state", label=_("Where it stands."))
    customer = _by("customer", Customer, "name")
    customer_id = _by_id("customer", Customer)
    order = _by("order", Order, "number")
    order_id = _by_id("order", Order)
    credits_id = _by_id("credits", Invoice)
    issued_on_from = FromDayFilter("issued_on")
    issued_on_until = UntilDayFilter("issued_on")
    due_on_from = FromDayFilter("due_on")
    due_on_until = UntilDayFilter("due_on")

    class Meta:
        model = Invoice
        fields = ["series"]

    def in_state(self, found: QuerySet, name: str, state: Any) -> QuerySet:
        fitting = money.invoices(state=state, on=timezone.localdate())
        return found.filter(pk__in=fitting.order_by().values("pk"))


class PaymentListFilters(FollowedListFilterSet):
    customer = _by("customer", Customer, "name")
    customer_id = _by_id("customer", Customer)
    order = _by("order", Order, "number")
    order_id = _by_id("order", Order)
    invoice_id = IdFilter(
        "allocations__invoice",
        rows=Invoice.objects.all(),
        distinct=True,
        label=_("Payments that were put to this invoice."),
    )
    received_on_from = FromDayFilter("received_on")
    received_on_until = UntilDayFilter("received_on")

    class Meta:
        model = Payment
        fields = ["method", "reference"]


class AdjustmentListFilters(ListFilterSet):
    customer = _by("customer", Customer, "name")
    customer_id = _by_id("customer", Customer)
    invoice_id = _by_id("invoice", Invoice)
    happened_on_from = FromDayFilter("happened_on")
    happened_on_until = UntilDayFilter("happened_on")

    class Meta:
        model = Adjustment
        fields = ["kind"]


class DepositSlipListFilters(ListFilterSet):
    is_undone = YesNoFilter("undone_on", lookup_expr="isnull", exclude=True)
    deposited_on_from = FromDayFilter("deposited_on")
    deposited_on_until = UntilDayFilter("deposited_on")

    class Meta:
        model = DepositSlip
        fields = ["number"]


class CashCountListFilters(ListFilterSet):
    is_undone = YesNoFilter("undone_on", lookup_expr="isnull", exclude=True)
    counted_on_from = FromDayFilter("counted_on")
    counted_on_until = UntilDayFilter("counted_on")

    class Meta:
        model = CashCount
        fields: list[str] = []


class OpeningAmountListFilters(ListFilterSet):
    is_undone = YesNoFilter("undone_on", lookup_expr="isnull", exclude=True)

    class Meta:
        model = OpeningAmount
        fields = ["account"]


class MoneyMoveListFilters(ListFilterSet):
    is_undone = YesNoFilter("undone_on", lookup_expr="isnull", exclude=True)
    moved_on_from = FromDayFilter("moved_on")
    moved_on_until = UntilDayFilter("moved_on")

    class Meta:
        model = MoneyMove
        fields = ["from_account", "to_account"]


class ReceiptListFilters(ListFilterSet):
    place = _by("stand_sale__place", Place)
    place_id = _by_id("stand_sale__place", Place)
    sold_by_id = _by_id("stand_sale__sold_by", User)
    supplied_on_from = FromDayFilter("supplied_on")
    supplied_on_until = UntilDayFilter("supplied_on")

    class Meta:
        model = Invoice
        fields: list[str] = []


class MarkedSaleListFilters(ListFilterSet):
    place = _by("place", Place)
    place_id = _by_id("place", Place)
    sold_by_id = _by_id("sold_by", User)
    sold_on_from = FromDayFilter("sold_at")
    sold_on_until = UntilDayFilter("sold_at")

    class Meta:
        model = StandSale
        fields: list[str] = []


class HandedInSaleListFilters(ListFilterSet):
    handed_in_by_id = _by_id("handed_in_by", User)

    class Meta:
        model = HandedInSale
        fields = ["device"]


class StandDayListFilters(ListFilterSet):
    place = _by("place", Place)
    place_id = _by_id("place", Place)
    day_from = FromDayFilter("day")
    day_until = UntilDayFilter("day")

    class Meta:
        model = StandDay
        fields: list[str] = []


class ReturnRequestListFilters(ListFilterSet):
    place = _by("place", Place)
    place_id = _by_id("place", Place)
    asked_on_from = FromDayFilter("asked_at")
    asked_on_until = UntilDayFilter("asked_at")

    class Meta:
        model = ReturnRequest
        fields = ["state"]


class MarketDayListFilters(ListFilterSet):
    place = _by("place", Place)
    place_id = _by_id("place", Place)
    is_closed = YesNoFilter("closed_at", lookup_expr="isnull", exclude=True)
    is_cancelled = YesNoFilter("cancelled_at", lookup_expr="isnull", exclude=True)
    day_from = FromDayFilter("day")
    day_until = UntilDayFilter("day")

    class Meta:
        model = MarketDay
        fields = ["market"]


class HonestyBoxListFilters(ListFilterSet):
    place = _by("place", Place)
    place_id = _by_id("place", Place)

    class Meta:
        model = HonestyBox
        fields = ["is_active"]


class HonestyCountListFilters(ListFilterSet):
    counted_on_from = FromDayFilter("counted_at")
    counted_on_until = UntilDayFilter("counted_at")

    class Meta:
        model = HonestyCount
        fields = ["is_first"]


class PurchaseOrderListFilters(FollowedListFilterSet):
    supplier = _by("supplier", Supplier, "name")
    supplier_id = _by_id("supplier", Supplier)
    ordered_on_from = FromDayFilter("ordered_on")
    ordered_on_until = UntilDayFilter("ordered_on")

    class Meta:
        model = PurchaseOrder
        fields = ["status"]


BILL_STATES = [
    ("open", _("something is left to pay")),
    ("overdue", _("left to pay after its day")),
    ("soon", _("due soon or overdue")),
    ("paid", _("paid")),
    ("undone", _("undone")),
]


class SupplierBillListFilters(FollowedListFilterSet):
    state = ChoiceFilter(choices=BILL_STATES, method="in_state", label=_("Where it stands."))
    supplier = _by("supplier", Supplier, "name")
    supplier_id = _by_id("supplier", Supplier)
    billed_on_from = FromDayFilter("billed_on")
    billed_on_until = UntilDayFilter("billed_on")
    due_on_from = FromDayFilter("due_on")
    due_on_until = UntilDayFilter("due_on")

    class Meta:
        model = SupplierBill
        fields = ["number"]

    def in_state(self, found: QuerySet, name: str, state: Any) -> QuerySet:
        fitting = bills.bills(on=timezone.localdate(), state=state)
        return found.filter(pk__in=fitting.order_by().values("pk"))


class SupplierPaymentListFilters(ListFilterSet):
    supplier = _by("supplier", Supplier, "name")
    supplier_id = _by_id("supplier", Supplier)
    is_undone = YesNoFilter("undone_entry", lookup_expr="isnull", exclude=True)
    paid_by = ChoiceFilter(choices=PaidBy.choices)
    paid_on_from = FromDayFilter("paid_on")
    paid_on_until = UntilDayFilter("paid_on")

    class Meta:
        model = SupplierPayment
        fields: list[str] = []


class ExpenseListFilters(FollowedListFilterSet):
    category = ChoiceFilter(choices=ExpenseCategory.choices)
    paid_by = ChoiceFilter(choices=PaidBy.choices)
    season = WholeNumberFilter("season_expense__season", label=_("The season it is a cost of."))
    is_undone = YesNoFilter("undone_entry", lookup_expr="isnull", exclude=True)
    spent_on_from = FromDayFilter("spent_on")
    spent_on_until = UntilDayFilter("spent_on")

    class Meta:
        model = Expense
        fields = ["payee", "recurring"]


class RecurringExpenseListFilters(ListFilterSet):
    next_on_from = FromDayFilter("next_on")
    next_on_until = UntilDayFilter("next_on")

    class Meta:
        model = RecurringExpense
        fields = ["payee", "category", "rhythm", "is_active"]


class BulkPriceListFilters(FollowedListFilterSet):
    valid_from_from = FromDayFilter("valid_from")
    valid_from_until = UntilDayFilter("valid_from")

    class Meta:
        model = BulkPrice
        fields = ["colour_class"]


class WeightPriceListFilters(FollowedListFilterSet):
    product = _by("product", Product)
    product_id = _by_id("product", Product)
    variety_id = _by_id("variety", Variety)
    valid_from_from = FromDayFilter("valid_from")
    valid_from_until = UntilDayFilter("valid_from")

    class Meta:
        model = WeightPrice
        fields = ["tier"]


class ServiceListFilters(ListFilterSet):
    class Meta:
        model = Service
        fields = ["unit", "taxed_as", "is_active"]


class TaxRateListFilters(ListFilterSet):
    valid_from_from = FromDayFilter("valid_from")
    valid_from_until = UntilDayFilter("valid_from")

    class Meta:
        model = TaxRate
        fields = ["name", "jurisdiction", "goods"]


class TaxCategoryListFilters(ListFilterSet):
    class Meta:
        model = GoodsCategory
        fields = ["goods", "category"]


# ------------------------------------------------------------------ e-mails and files


class EmailListFilters(ListFilterSet):
    customer = _by("customer", Customer, "name")
    customer_id = _by_id("customer", Customer)
    created_on_from = FromDayFilter("created_at")
    created_on_until = UntilDayFilter("created_at")

    class Meta:
        model = Email
        fields = ["status", "to"]


class ReminderPauseListFilters(ListFilterSet):
    invoice_id = _by_id("invoice", Invoice)

    class Meta:
        model = ReminderPause
        fields: list[str] = []


class AttachmentListFilters(ListFilterSet):
    class Meta:
        model = Attachment
        fields = ["kind", "media_type"]


# ------------------------------------------------------------------ people


class SignInListFilters(ListFilterSet):
    person_id = _by_id("person", User)
    username = _by("person", User, "username")
    at_from = FromDayFilter("at")
    at_until = UntilDayFilter("at")

    class Meta:
        model = SignIn
        fields = ["outcome"]


class ChangeListFilters(ListFilterSet):
    who_id = _by_id("actor", User)
    at_from = FromDayFilter("timestamp")
    at_until = UntilDayFilter("timestamp")

    class Meta:
        model = LogEntry
        fields: list[str] = []
