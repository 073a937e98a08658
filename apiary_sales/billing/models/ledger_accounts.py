"""The chart of accounts as the owner has changed it, and the stock side of closed books."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.shared.models import BooksLock
from inventory.stock.models import Item, Lot, Posting
from inventory.stock.models.ledger import AppendOnlyModel


class LedgerAccount(models.Model):
    """An account of the journal that the owner gave another number or name, or added.

    `key` is what entries say: `sales`, or with a detail `expenses:fuel`. Accounts without a row
    are as `chart_of_accounts` has them.
    """

    class Kind(models.TextChoices):
        ASSET = "asset", _("asset")
        LIABILITY = "liability", _("liability")
        EQUITY = "equity", _("equity")
        INCOME = "income", _("income")
        COST_OF_SALES = "cost_of_sales", _("cost of sales")
        EXPENSE = "expense", _("expense")

    key = models.CharField(max_length=61, unique=True, editable=False)
    number = models.CharField(_("number"), max_length=12, unique=True)
    name = models.CharField(_("name"), max_length=80)
    kind = models.CharField(_("kind"), max_length=13, choices=Kind)

    class Meta:
        ordering = ["number"]
        verbose_name = _("account")
        verbose_name_plural = _("accounts")
        permissions = [("manage_accounts", "Can change the chart of accounts")]
        constraints = [
            models.CheckConstraint(
                condition=~Q(number="") & ~Q(name=""), name="ledger_account_has_number_and_name"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class ClosedStock(AppendOnlyModel):
    """The stock side of the journal, kept when books were closed: so it stays.

    Its lines are those of the days after `after` (None for all days before) up to the day of the
    lock.
    """

    lock = models.OneToOneField(BooksLock, on_delete=models.PROTECT, related_name="closed_stock")
    after = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return str(self.lock)


class ClosedStockLine(AppendOnlyModel):
    """One line of the stock side as it was when the books were closed.

    `cents` are signed, debit above zero. Lines of stock name the item and lot with the quantity
    that came (or, below zero, went); `has_no_cost` says that nobody had said what it cost. Without
    a posting it is what earlier closed days differed, because costs were set anew since.
    """

    closing = models.ForeignKey(ClosedStock, on_delete=models.PROTECT, related_name="lines")
    counts_on = models.DateField(db_index=True)
    account = models.CharField(max_length=61)
    posting = models.ForeignKey(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    item = models.ForeignKey(
        Item, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    quantity = models.BigIntegerField(default=0)
    cents = models.BigIntegerField(default=0)
    has_no_cost = models.BooleanField(default=False)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.account} {self.cents:+d}"
