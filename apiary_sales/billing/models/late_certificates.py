"""Certificates that came after the goods."""

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.invoices import Invoice
from apiary_sales.customers.models import ExemptionCertificate
from inventory.stock.models.ledger import AppendOnlyModel


class LateCertificate(AppendOnlyModel):
    """A certificate that was accepted for goods billed before: the tax on them went back.

    The owner says why the law allows it. The invoice is credited, and `copy` is its corrected copy,
    without tax.
    """

    certificate = models.ForeignKey(
        ExemptionCertificate, on_delete=models.PROTECT, related_name="late"
    )
    invoice = models.OneToOneField(
        Invoice, on_delete=models.PROTECT, related_name="late_certificate"
    )
    copy = models.OneToOneField(Invoice, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(_("why the law allows it"), max_length=300)
    accepted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    accepted_at = models.DateTimeField(default=timezone.now)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-id"]
        permissions = [("accept_late_certificates", "Can take tax back by a late certificate")]

    def __str__(self) -> str:
        return f"{self.invoice} {self.certificate.number}"
