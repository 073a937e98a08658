"""The balanced book of money."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import Any, ClassVar

from django.db import models
from django.db.models import F, Max, Min, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.invoices import Invoice
from apiary_sales.billing.models.payments import Payment
from apiary_sales.customers.models import Customer
from inventory.stock.models import Supplier
from inventory.stock.models.ledger import AppendOnlyModel, AppendOnlyQuerySet


class EntryQuerySet(AppendOnlyQuerySet["Entry"]):
    def first_number(self) -> int:
        """Return the lowest number of these entries; without any, one that no entry has."""
        # Of a sum: for the lowest of the numbers alone SQLite goes through all from the first.
        first: int | None = self.aggregate(first=Min(F("pk") + 0))["first"]
        return models.BigIntegerField.MAX_BIGINT if first is None else first


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

    objects: ClassVar[EntryQuerySet] = EntryQuerySet.as_manager()  # type: ignore[assignment]

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
    # Found by the index on customer and entry.
    customer = models.ForeignKey(
        Customer,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="entry_lines",
        db_index=False,
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
                fields=["customer", "entry"],
                condition=Q(customer__isnull=False),
                name="entry_line_of_customer",
            ),
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


class AccountMonthQuerySet(models.QuerySet["AccountMonth"]):
    def last_entry(self) -> int:
        """Return the number of the last entry that is in the kept months, 0 where none are kept."""
        return self.aggregate(last=Max("last_entry"))["last"] or 0

    def balances(
        self, accounts: Iterable[str], *, before: date | None = None
    ) -> dict[tuple[str, str], int]:
        """Return what accounts have when a day begins, or by all entries, in cents.

        The key is an account and its detail. It is made of the kept months, of the entries of the
        month in which the day is, and of what was entered since the months were kept.
        """
        wanted = list(accounts)
        lines = EntryLine.objects.filter(account__in=wanted)
        kept = self.filter(account__in=wanted)
        # Asked in the same statement as the kept months: the work of the night may go on meanwhile.
        last = AccountMonth.objects.order_by("-last_entry").values("last_entry")[:1]
        since = lines.filter(entry__gt=Coalesce(Subquery(last), 0))
        if before is None:
            parts = [_sums(kept, "cents"), _sums(since, "amount_cents")]
        else:
            begins_on = before.replace(day=1)
            of_month = lines.filter(entry__entered_on__gte=begins_on, entry__entered_on__lt=before)
            parts = [
                _sums(kept.filter(begins_on__lt=begins_on), "cents"),
                # All of these few are read, so that the database doesn't begin with their days.
                _sums(since, "amount_cents", Q(entry__entered_on__lt=begins_on)),
                _sums(of_month, "amount_cents"),
            ]
        found: dict[tuple[str, str], int] = defaultdict(int)
        for account, detail, cents in parts[0].union(*parts[1:], all=True):
            found[account, detail] += cents
        return found

    def by_account(self, accounts: Iterable[str], *, before: date | None = None) -> dict[str, int]:
        """Return what `balances` does, with all details of an account together."""
        found: dict[str, int] = defaultdict(int)
        for (account, _detail), cents in self.balances(accounts, before=before).items():
            found[account] += cents
        return found

    def balance_cents(self, account: str, *, before: date | None = None) -> int:
        """Return what one account has when a day begins, or by all entries, with all details."""
        return self.by_account([account], before=before)[account]


def _sums(
    rows: models.QuerySet[Any], amount: str, counting: Q | None = None
) -> models.QuerySet[Any, Any]:
    """Return the sums of rows by account and detail, or of those rows that are `counting`."""
    total = Sum(amount, filter=counting, default=0)
    return rows.order_by().values_list("account", "detail").annotate(total=total)


class AccountMonth(models.Model):
    """What an account got in a month, less what went from it, by the entries up to a number.

    Kept so that nobody adds up a long history. Entries never change, so a kept month stays right:
    what is entered later, for whatever day, is added by the reading, until the work of a night
    takes it in. The last entry of all kept months is the one up to which all entries are in them.
    Only `services.account_months` writes here; `verify_ledger` proves it against the lines.
    """

    # It is not exported, and made anew from what is brought in.
    is_derived = True

    account = models.CharField(max_length=20, choices=EntryLine.Account)
    detail = models.CharField(max_length=40, blank=True)
    begins_on = models.DateField()
    cents = models.BigIntegerField()
    last_entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")

    objects = AccountMonthQuerySet.as_manager()

    class Meta:
        ordering = ["account", "begins_on", "detail"]
        constraints = [
            models.UniqueConstraint(
                fields=["account", "begins_on", "detail"], name="account_month_is_one"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.account} {self.begins_on:%Y-%m}"

    @classmethod
    def of_entries(cls, *, after: int, until: int) -> list["AccountMonth"]:
        """Work out the months of the entries after one number and up to another; none is saved."""
        rows = (
            EntryLine.objects.filter(entry__gt=after, entry__lte=until)
            .order_by("entry__entered_on", "account", "detail")
            .values_list("entry__entered_on", "account", "detail")
            .annotate(Sum("amount_cents"), Max("entry"))
        )
        found: dict[tuple[str, str, date], AccountMonth] = {}
        for day, account, detail, cents, entry in rows.iterator():
            key = account, detail, day.replace(day=1)
            if key not in found:
                found[key] = cls(
                    account=account,
                    detail=detail,
                    begins_on=day.replace(day=1),
                    cents=0,
                    last_entry_id=entry,
                )
            found[key].add(cents, entry)
        return list(found.values())

    @property
    def key(self) -> tuple[str, str, date]:
        return self.account, self.detail, self.begins_on

    def add(self, cents: int, last_entry: int) -> None:
        """Add what came by later entries, the last of which has this number; nothing is saved."""
        self.cents += cents
        self.last_entry_id = max(self.last_entry_id, last_entry)
