"""Money moved between the drawer, the bank, the owner, the tax office and deposits held."""

from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.book import Entry
from apiary_sales.billing.models.cash import Account, Undoable

# Each way that money can be moved by hand, in words.
WAYS: dict[tuple[str, str], Promise | str] = {
    (Account.CASH, Account.TRANSFER): _("cash brought to the bank"),
    (Account.TRANSFER, Account.CASH): _("cash fetched from the bank"),
    (Account.CARD, Account.TRANSFER): _("card payments paid out to the bank"),
    (Account.CHECK, Account.TRANSFER): _("checks of the opening amount brought to the bank"),
    (Account.TRANSFER, Account.SALES_TAX): _("sales tax paid from the bank"),
    (Account.CASH, Account.SALES_TAX): _("sales tax paid in cash"),
    (Account.SALES_TAX, Account.TRANSFER): _("sales tax refunded to the bank"),
    (Account.SALES_TAX, Account.CASH): _("sales tax refunded in cash"),
    (Account.TRANSFER, Account.DEPOSITS): _("drum deposits of the opening amount paid by bank"),
    (Account.CASH, Account.DEPOSITS): _("drum deposits of the opening amount paid in cash"),
    (Account.CASH, Account.TIPS): _("tips paid out in cash"),
    (Account.TRANSFER, Account.TIPS): _("tips paid out by bank"),
    (Account.OWNER, Account.TRANSFER): _("owner's money put into the bank"),
    (Account.OWNER, Account.CASH): _("owner's money put into the drawer"),
    (Account.TRANSFER, Account.OWNER): _("money taken by the owner from the bank"),
    (Account.CASH, Account.OWNER): _("money taken by the owner from the drawer"),
}


class MoneyMove(Undoable):
    """Money that left one account of the house for another.

    `cents` is what left `from_account`; `to_account` got it less the fee, which is an expense.
    """

    from_account = models.CharField(_("from"), max_length=20, choices=Account)
    to_account = models.CharField(_("to"), max_length=20, choices=Account)
    cents = models.BigIntegerField(_("amount"))
    fee_cents = models.BigIntegerField(_("fee"), default=0)
    moved_on = models.DateField(_("day"), default=timezone.localdate)
    reference = models.CharField(_("reference"), max_length=60, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="money_move")
    undo_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="money_move_undone"
    )

    class Meta:
        ordering = ["-moved_on", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(cents__gt=0), name="money_move_cents_gt_0"),
            models.CheckConstraint(
                condition=Q(fee_cents__gte=0, fee_cents__lt=F("cents")),
                name="money_move_fee_is_a_part",
            ),
            models.CheckConstraint(
                condition=~Q(from_account=F("to_account")), name="money_move_from_is_not_to"
            ),
            models.CheckConstraint(
                condition=Q(undone_on=None, undo_entry=None, undone_by=None)
                | Q(undone_on__isnull=False, undo_entry__isnull=False, undone_by__isnull=False),
                name="money_move_undone_by_an_entry",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what} {self.cents}"

    def get_absolute_url(self) -> str:
        return reverse("billing:money_move", args=[self.pk])

    @property
    def what(self) -> str:
        """What happened, in words."""
        return str(WAYS[self.from_account, self.to_account])

    @property
    def arrived_cents(self) -> int:
        """What `to_account` got."""
        return self.cents - self.fee_cents
