"""Money on its way to the bank, checks that came back, cash counted, amounts to begin with."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.book import Entry, EntryLine
from apiary_sales.billing.models.invoices import Invoice
from apiary_sales.billing.models.payments import Payment

Account = EntryLine.Account


class UndoneBy(models.Model):
    """When, by whom and why a document in the book of money was taken back by an entry."""

    undone_on = models.DateField(null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    undone_reason = models.CharField(_("reason"), max_length=300, blank=True)

    class Meta:
        abstract = True

    @property
    def is_undone(self) -> bool:
        return self.undone_on is not None


class Undoable(UndoneBy):
    """A document in the book of money that a reversing entry takes back, with a reason."""

    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("who")
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        abstract = True


class DepositSlip(Undoable):
    """Cash and checks that were brought to the bank together."""

    number = models.PositiveIntegerField(_("number"), unique=True)
    deposited_on = models.DateField(_("deposited"), default=timezone.localdate)
    bank_account = models.CharField(_("bank account"), max_length=80, blank=True)
    cash_cents = models.BigIntegerField(_("cash"), default=0)
    total_cents = models.BigIntegerField()
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="deposit_slip")
    undo_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="deposit_slip_undone"
    )

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.CheckConstraint(condition=Q(cash_cents__gte=0), name="deposit_slip_cash_gte_0"),
            models.CheckConstraint(condition=Q(total_cents__gt=0), name="deposit_slip_total_gt_0"),
        ]

    def __str__(self) -> str:
        return str(self.number)


class DepositedCheck(models.Model):
    """A check on a deposit slip."""

    slip = models.ForeignKey(DepositSlip, on_delete=models.PROTECT, related_name="checks")
    payment = models.ForeignKey(Payment, on_delete=models.PROTECT, related_name="deposits")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["slip", "payment"], name="deposited_check_is_once"),
        ]

    def __str__(self) -> str:
        return f"{self.payment} on slip {self.slip}"


class BouncedCheck(Undoable):
    """A check that the bank gave back, with its fee, and what the customer is billed for it.

    `reversal` undoes its payment; `entry` takes it off the bank again where it was deposited, and
    has the bank's fee. Undone, the check is good after all, and `recorded_again` is its payment.
    """

    payment = models.OneToOneField(Payment, on_delete=models.PROTECT, related_name="bounced")
    reversal = models.OneToOneField(Payment, on_delete=models.PROTECT, related_name="bounce")
    bounced_on = models.DateField(_("came back"), default=timezone.localdate)
    bank_fee_cents = models.BigIntegerField(_("fee of the bank"), default=0)
    bill = models.OneToOneField(
        Invoice, on_delete=models.PROTECT, null=True, blank=True, related_name="for_bounced_check"
    )
    # None where it was not deposited and the bank took no fee.
    entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="bounced_check"
    )
    undo_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="bounced_check_undone"
    )
    recorded_again = models.OneToOneField(
        Payment, on_delete=models.PROTECT, null=True, blank=True, related_name="good_after_all"
    )

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(bank_fee_cents__gte=0), name="bounced_check_fee_gte_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.payment} bounced"


class CashCount(Undoable):
    """The cash in the drawer at the end of a day, and what the books expected.

    What is over or short is posted, so that the cash in the books is the cash that is there.
    """

    counted_on = models.DateField(_("counted"), default=timezone.localdate)
    counted_cents = models.BigIntegerField(_("cash counted"))
    expected_cents = models.BigIntegerField(_("cash in the books"))
    note = models.CharField(_("note"), max_length=300, blank=True)
    # None of counts from before this column.
    recorded_at = models.DateTimeField(default=timezone.now, null=True, blank=True)
    # None where what was counted is what was expected.
    entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="cash_count"
    )
    undo_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="cash_count_undone"
    )

    class Meta:
        ordering = ["-counted_on", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(counted_cents__gte=0), name="cash_count_gte_0"),
        ]

    def __str__(self) -> str:
        return f"{self.counted_on} {self.counted_cents}"

    @property
    def difference_cents(self) -> int:
        return self.counted_cents - self.expected_cents


class OpeningAmount(Undoable):
    """What an account had when the books began; below zero where the house owed it."""

    ACCOUNTS = (
        Account.CASH,
        Account.CHECK,
        Account.CARD,
        Account.TRANSFER,
        Account.SALES_TAX,
        Account.DEPOSITS,
    )
    # The house owes these: entered above zero, they are below it in the book.
    OWED = (Account.SALES_TAX, Account.DEPOSITS)

    account = models.CharField(_("what"), max_length=20, choices=Account)
    amount_cents = models.BigIntegerField(_("amount"))
    begins_on = models.DateField(_("day on which the books begin"))
    note = models.CharField(_("note"), max_length=300, blank=True)
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="opening_amount")
    undo_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="opening_amount_undone"
    )

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(amount_cents=0), name="opening_amount_not_0"),
        ]

    def __str__(self) -> str:
        return f"{self.get_account_display()} {self.amount_cents}"
