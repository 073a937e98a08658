"""What parts and goods that came in were before they were corrected."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.bottling.models.goods import GoodsReceipt
from inventory.bottling.models.packaging import PartReceipt
from inventory.stock.models.ledger import Posting


class ReceiptCorrection(models.Model):
    """What parts or goods that came in were before they were corrected, and what they are since.

    `before` and `after` hold the figures that differ, by the name of the field.
    """

    part_receipt = models.ForeignKey(
        PartReceipt,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="corrections",
        verbose_name=_("parts that came in"),
    )
    goods_receipt = models.ForeignKey(
        GoodsReceipt,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="corrections",
        verbose_name=_("goods that came in"),
    )
    # None where nothing moved: the cost or the supplier was put right.
    posting = models.ForeignKey(
        Posting,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="receipt_corrections",
        verbose_name=_("posting"),
    )
    before = models.JSONField(_("before"))
    after = models.JSONField(_("after"))
    reason = models.CharField(_("reason"), max_length=200)
    corrected_at = models.DateTimeField(_("corrected"), default=timezone.now)
    corrected_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        related_name="+",
        verbose_name=_("corrected by"),
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["id"]
        verbose_name = _("correction of a receipt")
        verbose_name_plural = _("corrections of receipts")
        constraints = [
            models.CheckConstraint(
                condition=Q(part_receipt__isnull=False, goods_receipt__isnull=True)
                | Q(part_receipt__isnull=True, goods_receipt__isnull=False),
                name="receipt_correction_is_of_one_receipt",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part_receipt or self.goods_receipt} {self.corrected_at:%Y-%m-%d}"
