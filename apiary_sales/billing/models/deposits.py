"""Deposits on drums that the house keeps, because the drum never came back, or damaged."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.book import Entry
from apiary_sales.billing.models.cash import UndoneBy
from apiary_sales.billing.models.invoices import InvoiceLine
from apiary_sales.orders.models import ReturnedDrum


class KeptDepositQuerySet(models.QuerySet["KeptDeposit"]):
    def standing(self) -> "KeptDepositQuerySet":
        """Leave out those whose keeping was given up."""
        return self.filter(undone_on=None)


class KeptDeposit(UndoneBy):
    """The deposit of one drum that is not given back: what was owed becomes income.

    Where the keeping is given up, the opposite entry makes it owed again, and both stay.
    """

    returned_drum = models.ForeignKey(
        ReturnedDrum, on_delete=models.PROTECT, related_name="kept_deposits"
    )
    invoice_line = models.ForeignKey(
        InvoiceLine, on_delete=models.PROTECT, related_name="kept_deposits"
    )
    amount_cents = models.BigIntegerField()
    kept_on = models.DateField(default=timezone.localdate)
    reason = models.CharField(_("reason"), max_length=300)
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="kept_deposit")
    kept_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)
    undo_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="kept_deposit_undone"
    )

    objects = KeptDepositQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(amount_cents__gte=0), name="kept_deposit_amount_gte_0"
            ),
            models.UniqueConstraint(
                fields=["returned_drum"],
                condition=Q(undone_on=None),
                name="kept_deposit_once_at_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.invoice_line} {self.amount_cents}"
