"""What goes into jars beside liquid honey: the seed of creamed honey and the comb of chunk honey;
and comb that is cut into pieces."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.bottling.models.runs import BottlingRun
from inventory.stock.models.ledger import Place, Posting
from inventory.stock.models.lots import Lot


class Creaming(models.Model):
    """How the jars of a run are creamed: the seed that goes in, and where and how long they set.

    Without a vessel for the seed the honey was creamed in its tank already. `seed_lot` and
    `seed_grams` are known once the run is recorded.
    """

    run = models.OneToOneField(BottlingRun, on_delete=models.PROTECT, related_name="creaming")
    seed_source = models.ForeignKey(
        Place,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("seed from"),
    )
    seed_percent = models.DecimalField(
        _("seed, percent"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    seed_lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="seeded"
    )
    seed_grams = models.BigIntegerField(_("seed"), default=0)
    setting_place = models.CharField(_("where it sets"), max_length=80, blank=True)
    setting_days = models.PositiveSmallIntegerField(_("days until it is ready"), default=0)
    # Who said that the jars are ready before their day.
    hastened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    hastened_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(seed_source__isnull=True, seed_percent__isnull=True, seed_grams=0)
                | Q(seed_source__isnull=False, seed_percent__gt=0, seed_percent__lt=100),
                name="creaming_seed_is_a_share",
            ),
            models.CheckConstraint(
                condition=Q(hastened_by__isnull=True, hastened_at__isnull=True)
                | Q(hastened_by__isnull=False, hastened_at__isnull=False),
                name="creaming_hastened_by_someone",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.run}: {self.seed_percent or 0} %"


class RunComb(models.Model):
    """The comb that goes into the jars of a run of chunk honey.

    `quantity` is in what the comb's product is counted in, pieces or grams; it and `grams` are
    known once the run is recorded.
    """

    run = models.OneToOneField(BottlingRun, on_delete=models.PROTECT, related_name="comb")
    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, related_name="in_runs", verbose_name=_("comb of lot")
    )
    place = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="+", verbose_name=_("comb from")
    )
    grams_each = models.PositiveIntegerField(_("comb in one jar"))
    quantity = models.BigIntegerField(default=0)
    grams = models.BigIntegerField(default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(grams_each__gt=0), name="run_comb_grams_each_gt_0"),
        ]

    def __str__(self) -> str:
        return f"{self.run}: {self.lot}"


class CombCut(models.Model):
    """Comb by weight that was cut into pieces, with the honey that drained from it."""

    posting = models.OneToOneField(Posting, on_delete=models.PROTECT, related_name="comb_cut")
    comb_lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="cuts")
    packed_lot = models.OneToOneField(Lot, on_delete=models.PROTECT, related_name="cut_from")
    # None where no honey was kept.
    drained_lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="drained_from"
    )
    comb_grams = models.BigIntegerField(_("comb cut"))
    drained_grams = models.BigIntegerField(_("honey drained"), default=0)
    loss_grams = models.BigIntegerField(_("lost"), default=0)
    parts_cents = models.BigIntegerField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(comb_grams__gt=models.F("drained_grams") + models.F("loss_grams"))
                & Q(drained_grams__gte=0, loss_grams__gte=0),
                name="comb_cut_leaves_pieces",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.comb_lot}: {self.packed_lot}"
