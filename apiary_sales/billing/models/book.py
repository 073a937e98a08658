"""The balanced book of money."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.invoices import Invoice
from apiary_sales.billing.models.payments import Payment
from apiary_sales.customers.models import Customer
from inventory.stock.models import Supplier
from inventory.stock.models.ledger import AppendOnlyModel


class Entry(AppendOnlyModel):
    """One balanced entry in the book of money.

    `happened_on` is its true day, `entered_on` the day it counts on: the first open day, where the
    books were closed on its own. Invoices and payments are named here; other documents name
    their entry.
    """

    class Kind(models.TextChoices):
        INVOICE = "invoice", _("invoice")
        CREDIT_NOTE = "credit_note", _("credit note")
        PAYMENT = "payment", _("payment")
        ADJUSTMENT = "adjustment", _("adjustment")
        OPENING = "opening", _("opening amount")
        BILL = "bill", _("bill of a supplier")
        BILL_PAYMENT = "bill_payment", _("bill paid")
        EXPENSE = "expense", _("expense")
        TRANSFER = "transfer", _("money moved")

    kind = models.CharField(max_length=12, choices=Kind)
    happened_on = models.DateField()
    entered_on = models.DateField(db_index=True)
    entered_at = models.DateTimeField(auto_now_add=True)
    invoice = models.OneToOneField(
        Invoice, on_delete=models.PROTECT, null=True, blank=True, related_name="entry"
    )
    payment = models.OneToOneField(
        Payment, on_delete=models.PROTECT, null=True, blank=True, related_name="entry"
    )

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["entered_on", "id"], name="entry_by_day"),
            # Few count later than they happened: where the books were closed on their day.
            models.Index(
                fields=["entered_on", "id"],
                condition=~Q(happened_on=F("entered_on")),
                name="entry_counts_later",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="payment", payment__isnull=False, invoice__isnull=True)
                | Q(
                    kind__in=["invoice", "credit_note"],
                    payment__isnull=True,
                    invoice__isnull=False,
                )
                | (
                    ~Q(kind__in=["payment", "invoice", "credit_note"])
                    & Q(payment__isnull=True)
                    & (Q(kind="opening") | Q(invoice__isnull=True))
                ),
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
        # Received and not in the bank yet.
        CHECK = "check", _("checks")
        CARD = "card", _("cards")
        TRANSFER = "transfer", _("bank")
        DEPOSITS = "deposits", _("deposits on drums")
        ROUNDING = "rounding", _("rounding")
        CASH_ROUNDING = "cash_rounding", _("rounding of cash")
        WRITE_OFFS = "write_offs", _("bad debts")
        DISCOUNTS = "discounts", _("discounts for early payment")
        INTEREST = "interest", _("interest")
        FEES = "fees", _("fees")
        PAYABLE = "payable", _("owed to suppliers")
        NOT_BILLED = "not_billed", _("received, not billed yet")
        PURCHASE_TAX = "purchase_tax", _("tax on purchases")
        EXPENSES = "expenses", _("expenses")
        STOCK = "stock", _("stock")
        OPENING = "opening", _("opening amounts")
        OWNER = "owner", _("owner")
        # What buyers gave beyond the price: for the people at the stand, or for the house.
        TIPS = "tips", _("tips for the people at the stand")
        GIFTS = "gifts", _("given on top by buyers")

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="lines")
    account = models.CharField(max_length=20, choices=Account)
    detail = models.CharField(max_length=40, blank=True)
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="entry_lines"
    )
    supplier = models.ForeignKey(
        Supplier, on_delete=models.PROTECT, null=True, blank=True, related_name="entry_lines"
    )
    amount_cents = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["account", "entry"], name="entry_line_of_account"),
            models.Index(
                fields=["account", "detail"],
                condition=Q(detail__gt=""),
                name="entry_line_with_detail",
            ),
        ]
        constraints = [
            models.CheckConstraint(condition=~Q(amount_cents=0), name="entry_line_amount_not_0"),
        ]

    def __str__(self) -> str:
        return f"{self.account} {self.amount_cents:+d}"
