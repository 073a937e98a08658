"""What is ordered from suppliers, what they bill for it, and what they are paid."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q, Sum
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.booked import BookedDocument
from apiary_sales.billing.models.invoices import plain
from apiary_sales.pricing.models import SeasonExpense
from inventory.bottling.models import GoodsReceipt, PackagingPart, PartReceipt, Product
from inventory.stock.models import Lot, Supplier
from inventory.stock.models.ledger import Item


class PurchaseOrder(models.Model):
    """Parts and goods ordered from a supplier; what came in is on the receipts of its lines."""

    class Status(models.TextChoices):
        OPEN = "open", _("open")
        CLOSED = "closed", _("closed")
        CANCELLED = "cancelled", _("cancelled")

    PREFIX = "PO"

    number = models.CharField(_("number"), max_length=16, unique=True)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="purchase_orders")
    status = models.CharField(max_length=10, choices=Status, default=Status.OPEN)
    ordered_on = models.DateField(_("ordered"), default=timezone.localdate)
    expected_on = models.DateField(_("expected"), null=True, blank=True)
    freight_cents = models.BigIntegerField(_("freight"), default=0)
    note = models.CharField(_("note for the supplier"), max_length=300, blank=True)
    closed_reason = models.CharField(_("reason"), max_length=300, blank=True)
    ordered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-id"]
        permissions = [
            ("manage_purchases", "Can order from suppliers, and enter bills and expenses"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(freight_cents__gte=0), name="purchase_order_freight_cents_gte_0"
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def is_open(self) -> bool:
        return self.status == self.Status.OPEN


class PurchaseOrderLineQuerySet(models.QuerySet["PurchaseOrderLine"]):
    def with_received(self) -> "PurchaseOrderLineQuerySet":
        """Add `parts_received` and `goods_received`: what came in and was not undone."""
        return self.annotate(
            parts_received=Sum(
                "receipts__part_receipt__pieces",
                filter=Q(receipts__part_receipt__posting__reversed_by__reverses=None),
                default=0,
            ),
            goods_received=Sum(
                "receipts__goods_receipt__quantity",
                filter=Q(receipts__goods_receipt__posting__reversed_by__reverses=None),
                default=0,
            ),
        )


class PurchaseOrderLine(models.Model):
    """So much of a part or of goods at a price; pieces, or grams of goods by weight.

    The price is of a piece or, of goods by weight, of a pound.
    """

    order = models.ForeignKey(PurchaseOrder, on_delete=models.PROTECT, related_name="lines")
    part = models.ForeignKey(
        PackagingPart, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    supplier_code = models.CharField(_("their number for it"), max_length=60, blank=True)
    quantity = models.BigIntegerField(_("how much"))
    unit_price = models.DecimalField(_("price"), max_digits=12, decimal_places=4)
    amount_cents = models.BigIntegerField(_("amount"))

    objects = PurchaseOrderLineQuerySet.as_manager()

    # What `with_received` adds.
    parts_received: int
    goods_received: int

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(part__isnull=True) ^ Q(product__isnull=True),
                name="purchase_order_line_is_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, amount_cents__gte=0, unit_price__gte=0),
                name="purchase_order_line_amounts",
            ),
        ]

    def __str__(self) -> str:
        return self.thing.name

    @property
    def thing(self) -> PackagingPart | Product:
        """The part or the goods that were ordered."""
        return self.part or self.product  # type: ignore[return-value]  # a constraint has one

    @property
    def item(self) -> Item:
        return self.thing.item

    @property
    def received(self) -> int:
        """How much came in for a line read `with_received`, in pieces or grams."""
        return self.parts_received + self.goods_received

    @property
    def missing(self) -> int:
        """How much is still to come; 0 where more came than was ordered."""
        return max(0, self.quantity - self.received)


class PurchaseReceipt(models.Model):
    """A delivery of parts or goods that came in for a line of a purchase order."""

    line = models.ForeignKey(PurchaseOrderLine, on_delete=models.PROTECT, related_name="receipts")
    part_receipt = models.OneToOneField(
        PartReceipt,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="purchase_receipt",
    )
    goods_receipt = models.OneToOneField(
        GoodsReceipt,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="purchase_receipt",
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(part_receipt__isnull=True) ^ Q(goods_receipt__isnull=True),
                name="purchase_receipt_is_one",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line.order} {self.receipt}"

    @property
    def receipt(self) -> PartReceipt | GoodsReceipt:
        return self.part_receipt or self.goods_receipt  # type: ignore[return-value]  # as above


class SupplierBill(BookedDocument):
    """A bill of a supplier, under the supplier's own number.

    `tax_cents` is tax that the house gets back; tax that it does not get back is in the lines.
    `open_cents` is what is still to be paid: the total less payments and the discounts taken with
    them, and 0 where the bill was undone; the services keep it, `verify_ledger` proves it.
    """

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="bills")
    number = models.CharField(_("number of the bill"), max_length=60)
    billed_on = models.DateField(_("date of the bill"))
    due_on = models.DateField(_("due"))
    discount_percent = models.DecimalField(
        _("discount for early payment"), max_digits=4, decimal_places=2, default=0
    )
    discount_until = models.DateField(_("discount until"), null=True, blank=True)
    currency = models.CharField(max_length=3)
    tax_cents = models.BigIntegerField(_("tax that you get back"), default=0)
    total_cents = models.BigIntegerField(_("total"))
    open_cents = models.BigIntegerField(_("left to pay"))
    note = models.CharField(_("note"), max_length=300, blank=True)

    class Meta(BookedDocument.Meta):
        ordering = ["due_on", "id"]
        constraints = [
            *BookedDocument.Meta.constraints,
            # A number that was typed wrong is free again when its bill is undone.
            models.UniqueConstraint(
                fields=["supplier", "number"],
                condition=Q(undone_entry=None),
                name="supplier_bill_is_entered_once",
            ),
            models.CheckConstraint(
                condition=Q(total_cents__gt=0, tax_cents__gte=0)
                & Q(open_cents__gte=0, open_cents__lte=models.F("total_cents")),
                name="supplier_bill_open_between_0_and_total",
            ),
            models.CheckConstraint(
                condition=Q(discount_percent=0, discount_until=None)
                | Q(discount_percent__gt=0, discount_until__isnull=False),
                name="supplier_bill_discount_has_its_day",
            ),
        ]
        indexes = [
            models.Index(
                fields=["due_on"],
                condition=Q(open_cents__gt=0),
                name="supplier_bill_open_by_due_day",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def discount_rate(self) -> Decimal:
        """The percentage of the discount without the zeros it is stored with."""
        return plain(self.discount_percent)


class SupplierBillLine(models.Model):
    """One line of a bill: a delivery that came in, or an expense with its category.

    A delivery has its cost from the day it came in. `cleared_cents` is what of that the bill
    takes off *received, not billed yet*; what the bill asks beyond it is a difference in price.
    """

    bill = models.ForeignKey(SupplierBill, on_delete=models.PROTECT, related_name="lines")
    description = models.CharField(_("what for"), max_length=200)
    category = models.CharField(_("category"), max_length=12, blank=True)
    part_receipt = models.ForeignKey(
        PartReceipt, on_delete=models.PROTECT, null=True, blank=True, related_name="bill_lines"
    )
    goods_receipt = models.ForeignKey(
        GoodsReceipt, on_delete=models.PROTECT, null=True, blank=True, related_name="bill_lines"
    )
    honey_lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="bill_lines"
    )
    amount_cents = models.BigIntegerField(_("amount"))
    cleared_cents = models.BigIntegerField(default=0)
    # What of this the cost of a season's honey counts; removing it there leaves the bill.
    season_expense = models.OneToOneField(
        SeasonExpense, on_delete=models.SET_NULL, null=True, blank=True, related_name="bill_line"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=(
                    Q(part_receipt__isnull=True, goods_receipt__isnull=True, honey_lot__isnull=True)
                    & ~Q(category="")
                    & Q(cleared_cents=0)
                )
                | (
                    Q(category="")
                    & (
                        Q(
                            part_receipt__isnull=False,
                            goods_receipt__isnull=True,
                            honey_lot__isnull=True,
                        )
                        | Q(
                            part_receipt__isnull=True,
                            goods_receipt__isnull=False,
                            honey_lot__isnull=True,
                        )
                        | Q(
                            part_receipt__isnull=True,
                            goods_receipt__isnull=True,
                            honey_lot__isnull=False,
                        )
                    )
                ),
                name="supplier_bill_line_is_for_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(amount_cents__gte=0, cleared_cents__gte=0),
                name="supplier_bill_line_amounts_gte_0",
            ),
        ]

    def __str__(self) -> str:
        return self.description

    @property
    def is_delivery(self) -> bool:
        return not self.category

    @property
    def difference_cents(self) -> int:
        """What the bill asks beyond the cost at which the delivery is in the books."""
        return self.amount_cents - self.cleared_cents if self.is_delivery else 0


class PaidBy(models.TextChoices):
    """Where money that is paid out comes from."""

    CASH = "cash", _("cash")
    CHECK = "check", _("check")
    CARD = "card", _("card of the house")
    TRANSFER = "transfer", _("bank transfer")
    OWNER = "owner", _("the owner's own money")


class SupplierPayment(BookedDocument):
    """Money paid to a supplier for one or more bills."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="payments")
    paid_on = models.DateField(_("paid"))
    paid_by = models.CharField(_("paid by"), max_length=8, choices=PaidBy)
    amount_cents = models.BigIntegerField(_("amount"))
    reference = models.CharField(_("check number or reference"), max_length=60, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)

    class Meta(BookedDocument.Meta):
        ordering = ["-paid_on", "-id"]
        constraints = [
            *BookedDocument.Meta.constraints,
            models.CheckConstraint(
                condition=Q(amount_cents__gt=0), name="supplier_payment_amount_cents_gt_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_paid_by_display()} {self.amount_cents}"


class SupplierAllocation(models.Model):
    """So much of a payment settles so much of a bill, with the discount for paying early."""

    payment = models.ForeignKey(
        SupplierPayment, on_delete=models.PROTECT, related_name="allocations"
    )
    bill = models.ForeignKey(SupplierBill, on_delete=models.PROTECT, related_name="allocations")
    amount_cents = models.BigIntegerField()
    discount_cents = models.BigIntegerField(default=0)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["payment", "bill"], name="supplier_allocation_is_one"),
            models.CheckConstraint(
                condition=Q(amount_cents__gt=0, discount_cents__gte=0),
                name="supplier_allocation_amounts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.payment} for {self.bill}"
