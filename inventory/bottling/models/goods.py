"""Other goods: what came in from suppliers, and what the house made or gathered itself."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.bottling.models.products import Product
from inventory.stock.models import Lot, Place, Posting, Supplier


class GoodsReceipt(models.Model):
    """Goods that came in, and what they cost; `quantity` is in grams for goods by weight."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="goods_receipts")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="goods_receipts")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    quantity = models.BigIntegerField(_("how much"))
    cost_cents = models.BigIntegerField(_("cost of all"))
    supplier = models.ForeignKey(
        Supplier,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="goods_receipts",
        verbose_name=_("supplier"),
    )
    received_on = models.DateField(_("received"))
    posting = models.OneToOneField(Posting, on_delete=models.PROTECT, related_name="goods_receipt")

    class Meta:
        ordering = ["-received_on", "-id"]
        indexes = [
            models.Index(fields=["-received_on", "-id"], name="goods_receipt_newest_first"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0, cost_cents__gte=0), name="goods_receipt_amounts"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.product}"


class GoodsMade(models.Model):
    """Goods that the house made of other goods and parts, or gathered: one lot of them.

    What went in is in the lines of the posting; what it cost is kept here. `labour_minutes` is None
    where nobody entered it, `materials_cents` where the cost of a material is not known.
    """

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="goods_made")
    lot = models.OneToOneField(Lot, on_delete=models.PROTECT, related_name="goods_made")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    quantity = models.BigIntegerField(_("how much"))
    materials_cents = models.BigIntegerField(_("cost of the materials"), null=True, blank=True)
    labour_minutes = models.PositiveIntegerField(_("minutes of work"), null=True, blank=True)
    labour_cents = models.BigIntegerField(_("cost of the work"), null=True, blank=True)
    made_on = models.DateField(_("made"))
    posting = models.OneToOneField(Posting, on_delete=models.PROTECT, related_name="goods_made")

    class Meta:
        ordering = ["-made_on", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0)
                & (Q(materials_cents__isnull=True) | Q(materials_cents__gte=0))
                & (Q(labour_cents__isnull=True) | Q(labour_cents__gte=0)),
                name="goods_made_amounts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.product}"
