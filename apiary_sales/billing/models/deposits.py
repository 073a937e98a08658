"""Deposits on drums that the house keeps, because the drum never came back, or damaged."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.book import Entry
from apiary_sales.billing.models.invoices import InvoiceLine
from apiary_sales.orders.models import ReturnedDrum


class KeptDeposit(models.Model):
    """The deposit of one drum that is not given back: what was owed becomes income."""

    returned_drum = models.OneToOneField(
        ReturnedDrum, on_delete=models.PROTECT, related_name="kept_deposit"
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

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(amount_cents__gte=0), name="kept_deposit_amount_gte_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.invoice_line} {self.amount_cents}"
