"""What was short when it happened, and what lots were before they were corrected."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.stock.models.ledger import Item, Place, Posting
from inventory.stock.models.lots import Lot


class ShortageQuerySet(models.QuerySet["Shortage"]):
    def open(self) -> "ShortageQuerySet":
        """Return what is still to be settled."""
        return self.filter(settled_by=None)

    def standing(self) -> "ShortageQuerySet":
        """Leave out what a correction of the entry itself has found; settled or not."""
        # Joined, the corrections of all entries would be gone through.
        found_out = Posting.objects.filter(
            pk=models.OuterRef("settled_by"), corrects=models.OuterRef("posting")
        )
        return self.exclude(models.Exists(found_out))


class Shortage(models.Model):
    """What an act took although the books had none of it: booked, and to be settled.

    The goods came from the outside place *to be settled*. `place` is where the books were short,
    None for parts that any shelf could have given; `lot` is the one that was named. A count, a
    receipt or a correction settles it.
    """

    posting = models.ForeignKey(Posting, on_delete=models.PROTECT, related_name="shortages")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="shortages")
    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="shortages"
    )
    place = models.ForeignKey(
        Place, on_delete=models.PROTECT, null=True, blank=True, related_name="shortages"
    )
    quantity = models.BigIntegerField(_("quantity"))
    settled_by = models.ForeignKey(
        Posting,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="settled_shortages",
    )

    objects = ShortageQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name = _("shortage")
        verbose_name_plural = _("shortages")
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="shortage_quantity_gt_0"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.item}"


class LotCorrection(models.Model):
    """What a lot was before it was corrected, and what it is since: both stay readable.

    `before` and `after` hold the figures that differ, by the name of the field, as text; "parents"
    holds the codes of the lots that went in with their grams.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="corrections")
    # None where nothing moved: a moisture or a yard was put right.
    posting = models.ForeignKey(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="lot_corrections"
    )
    before = models.JSONField()
    after = models.JSONField()
    reason = models.CharField(_("reason"), max_length=300, blank=True)
    corrected_at = models.DateTimeField(auto_now_add=True)
    corrected_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        verbose_name = _("correction of a lot")
        verbose_name_plural = _("corrections of lots")

    def __str__(self) -> str:
        return f"{self.lot} {self.corrected_at:%Y-%m-%d}"
