"""Invoices, payments, and the balanced book of money owed."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.formats import number_format
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import FulfilmentLine, Order, Weighing
from inventory.stock.models.ledger import AppendOnlyModel


def plain(number: Decimal) -> Decimal:
    """Return a number without trailing zeros: 2.5000 as 2.5, and 20.0000 as 20."""
    return Decimal(f"{number.normalize():f}")


class InvoiceQuerySet(models.QuerySet["Invoice"]):
    def open_of(self, customer: Customer | None) -> "InvoiceQuerySet":
        """Return what a customer still has to pay, what is due first first."""
        found = self.filter(customer=customer, open_cents__gt=0)
        # A stand receipt without a customer belongs to nobody's account.
        return found.order_by("due_on", "id") if customer else found.none()


class Invoice(models.Model):
    """A numbered bill for goods handed over: an invoice, a stand receipt or a credit note.

    A credit note takes back all that is left of its invoice or, where it `returns_deposit`, the
    deposit of drums that came back. Nothing printed on a bill is ever changed. `open_cents` is
    what is still to be paid: the total less credit notes and what payments were put to it; the
    services keep it, `verify_ledger` proves it.
    """

    RECEIPT_PREFIX = "R"
    CREDIT_PREFIX = "C"

    series = models.CharField(max_length=12)
    number = models.PositiveIntegerField()
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="invoices"
    )
    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="invoices")
    credits = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="credit_notes"
    )
    returns_deposit = models.BooleanField(default=False)
    issued_on = models.DateField(_("issued"), default=timezone.localdate)
    due_on = models.DateField(_("due"))
    currency = models.CharField(max_length=3)
    seller = models.JSONField()
    buyer = models.JSONField()
    exemption = models.CharField(max_length=120, blank=True)
    net_cents = models.BigIntegerField()
    tax_cents = models.BigIntegerField()
    total_cents = models.BigIntegerField()
    open_cents = models.BigIntegerField(default=0)
    note = models.CharField(_("reason"), max_length=300, blank=True)
    issued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = InvoiceQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        permissions = [
            ("issue_invoices", "Can issue invoices and credit notes"),
            ("view_money", "Can see money owed and earned"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["series", "number"], name="invoice_number_is_one"),
            models.CheckConstraint(
                condition=Q(total_cents=models.F("net_cents") + models.F("tax_cents")),
                name="invoice_total_is_net_and_tax",
            ),
            models.CheckConstraint(
                condition=Q(open_cents__gte=0)
                & (Q(open_cents=0) | Q(open_cents__lte=models.F("total_cents"))),
                name="invoice_open_between_0_and_total",
            ),
            models.CheckConstraint(
                condition=Q(returns_deposit=False) | Q(credits__isnull=False),
                name="invoice_deposit_is_returned_by_a_credit_note",
            ),
        ]
        indexes = [
            models.Index(fields=["issued_on", "id"], name="invoice_by_day"),
            models.Index(
                fields=["due_on"], condition=Q(open_cents__gt=0), name="invoice_open_by_due_day"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.series}-{self.number:05d}"

    @property
    def is_credit_note(self) -> bool:
        return self.credits_id is not None

    @property
    def deposit_notes(self) -> list["Invoice"]:
        """The credit notes for drums of this invoice that came back, oldest first."""
        return list(self.credit_notes.filter(returns_deposit=True).order_by("id"))

    @property
    def full_credit_note(self) -> "Invoice | None":
        """The credit note that took this invoice back, or None."""
        return self.credit_notes.filter(returns_deposit=False).first()

    @property
    def is_receipt(self) -> bool:
        return self.series.startswith(self.RECEIPT_PREFIX)

    @property
    def terms_days(self) -> int:
        return (self.due_on - self.issued_on).days


class InvoiceLine(models.Model):
    """One line of an invoice as printed: quantity × unit price − discount = amount.

    Quantity, discount, amount and tax are negative on a credit note.
    """

    class Unit(models.TextChoices):
        PIECE = "piece", _("pc")
        POUND = "lb", _("lb")
        # Of services; a pound of work is no weight of goods.
        EACH = "each", _("each")
        HOUR = "hour", _("hour")
        DAY = "day", _("day")
        MONTH = "month", _("month")
        HIVE = "hive", _("hive")
        DRUM = "drum", _("drum")
        SERVED_POUND = "pound", _("lb")

    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="lines")
    fulfilment_line = models.ForeignKey(
        FulfilmentLine, on_delete=models.PROTECT, related_name="invoice_lines"
    )
    description = models.CharField(max_length=200)
    lot_code = models.CharField(max_length=30, blank=True)
    quantity = models.DecimalField(max_digits=14, decimal_places=3)
    unit = models.CharField(max_length=12, choices=Unit)
    unit_price = models.DecimalField(max_digits=12, decimal_places=4)
    discount_cents = models.BigIntegerField(default=0)
    amount_cents = models.BigIntegerField()
    tax_name = models.CharField(max_length=60, blank=True)
    tax_percent = models.DecimalField(max_digits=7, decimal_places=4, default=0)
    tax_cents = models.BigIntegerField(default=0)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return self.description

    @property
    def shown_quantity(self) -> str:
        """The quantity as printed: whole pieces, pounds with two decimals or, if needed, three."""
        needed = -int(plain(self.quantity).as_tuple().exponent)
        places = max(2, needed) if self.unit == self.Unit.POUND else needed
        return number_format(self.quantity, places, force_grouping=True).replace("-", "−")

    @property
    def weighing(self) -> Weighing | None:
        """How the weight was found, where more than the net weight was written down."""
        return self.fulfilment_line.weighing

    @property
    def tax_rate(self) -> Decimal:
        """The percentage without the zeros it is stored with."""
        return plain(self.tax_percent)


class Payment(models.Model):
    """Money received (or, negative, given back)."""

    class Method(models.TextChoices):
        CASH = "cash", _("cash")
        CHECK = "check", _("check")
        CARD = "card", _("card")
        TRANSFER = "transfer", _("bank transfer")

    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="payments"
    )
    method = models.CharField(_("paid by"), max_length=8, choices=Method)
    amount_cents = models.BigIntegerField(_("amount"))
    tendered_cents = models.BigIntegerField(_("cash given"), null=True, blank=True)
    received_on = models.DateField(_("received"), default=timezone.localdate)
    reference = models.CharField(_("check number or reference"), max_length=60, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    reverses = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-received_on", "-id"]
        permissions = [("take_payments", "Can record payments")]
        constraints = [
            models.CheckConstraint(condition=~Q(amount_cents=0), name="payment_amount_not_0"),
        ]

    def __str__(self) -> str:
        return f"{self.get_method_display()} {self.amount_cents}"

    @property
    def is_pay_back(self) -> bool:
        """Whether this is money on account given back, and no undoing of a payment."""
        return self.amount_cents < 0 and self.reverses_id is None

    @property
    def given_back_cents(self) -> int:
        return max(0, -self.amount_cents)


class Allocation(AppendOnlyModel):
    """So much of a payment settles so much of an invoice.

    A negative row takes it off again: when the check bounced, or the invoice was credited and the
    money stays on account.
    """

    payment = models.ForeignKey(Payment, on_delete=models.PROTECT, related_name="allocations")
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="allocations")
    amount_cents = models.BigIntegerField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(amount_cents=0), name="allocation_amount_not_0"),
        ]

    def __str__(self) -> str:
        return f"{self.payment} for {self.invoice}"


class Entry(AppendOnlyModel):
    """One balanced entry in the book of money: an invoice, a credit note or a payment."""

    class Kind(models.TextChoices):
        INVOICE = "invoice", _("invoice")
        CREDIT_NOTE = "credit_note", _("credit note")
        PAYMENT = "payment", _("payment")

    kind = models.CharField(max_length=12, choices=Kind)
    entered_on = models.DateField()
    entered_at = models.DateTimeField(auto_now_add=True)
    invoice = models.OneToOneField(
        Invoice, on_delete=models.PROTECT, null=True, blank=True, related_name="entry"
    )
    payment = models.OneToOneField(
        Payment, on_delete=models.PROTECT, null=True, blank=True, related_name="entry"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="payment", payment__isnull=False, invoice__isnull=True)
                | (~Q(kind="payment") & Q(payment__isnull=True, invoice__isnull=False)),
                name="entry_names_its_document",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.pk}"


class EntryLine(AppendOnlyModel):
    """A signed amount on one account; the lines of an entry add up to zero."""

    class Account(models.TextChoices):
        RECEIVABLE = "receivable", _("owed by customers")
        SALES = "sales", _("sales")
        SALES_TAX = "sales_tax", _("sales tax")
        CASH = "cash", _("cash")
        CHECK = "check", _("checks")
        CARD = "card", _("cards")
        TRANSFER = "transfer", _("bank")

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="lines")
    account = models.CharField(max_length=12, choices=Account)
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="entry_lines"
    )
    amount_cents = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=~Q(amount_cents=0), name="entry_line_amount_not_0"),
        ]

    def __str__(self) -> str:
        return f"{self.account} {self.amount_cents:+d}"
