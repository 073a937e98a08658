"""Bottling runs and the weights checked after them."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.bottling.models.packaging import Size
from inventory.bottling.models.products import Product
from inventory.stock.models.ledger import Place, Posting
from inventory.stock.models.lots import Lot


class BottlingRun(models.Model):
    """One product filled from one vessel: planned, then recorded.

    `drawn_grams` left the vessel, and `added_grams` of seed or comb went in beside it; of both
    together `loss_grams` stayed in the filler, on the floor or in the drain; the honey of broken
    pieces counts as broken; the rest is in the jars.
    """

    class Status(models.TextChoices):
        PLANNED = "planned", _("planned")
        RECORDED = "recorded", _("recorded")
        REVERSED = "reversed", _("undone")
        CANCELLED = "cancelled", _("cancelled")

    class DrawnBy(models.TextChoices):
        SCALE = "scale", _("scale")
        DIP = "dip", _("dip stick")

    number = models.CharField(_("run"), max_length=20, unique=True)
    status = models.CharField(max_length=10, choices=Status, default=Status.PLANNED)
    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, related_name="runs", verbose_name=_("product")
    )
    # Stamped on the jars, so it is set before the first one and never changes.
    lot_code = models.CharField(_("lot code"), max_length=30)
    source = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="runs_from", verbose_name=_("from")
    )
    target = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="runs_to", verbose_name=_("put on")
    )
    pieces_planned = models.PositiveIntegerField(_("pieces wanted"))
    planned_for = models.DateField(_("day"), default=timezone.localdate)
    celsius = models.DecimalField(
        _("temperature of the honey, °C"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="runs"
    )
    packed_lot = models.OneToOneField(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="run"
    )
    pieces_filled = models.PositiveIntegerField(_("pieces filled"), null=True, blank=True)
    pieces_broken = models.PositiveIntegerField(_("pieces broken"), default=0)
    drawn_grams = models.BigIntegerField(_("honey drawn"), null=True, blank=True)
    drawn_by = models.CharField(
        _("weighed by"), max_length=6, choices=DrawnBy, default=DrawnBy.SCALE
    )
    # Seed or comb that went into the jars beside the honey drawn.
    added_grams = models.BigIntegerField(default=0)
    loss_grams = models.BigIntegerField(_("honey lost in filling"), default=0)
    # None while nobody entered them, which is not the same as no work at all.
    labour_minutes = models.PositiveIntegerField(_("minutes of work"), null=True, blank=True)
    labour_cents = models.BigIntegerField(null=True, blank=True)
    honey_cents = models.BigIntegerField(null=True, blank=True)
    parts_cents = models.BigIntegerField(null=True, blank=True)
    recorded_at = models.DateTimeField(null=True, blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    posting = models.OneToOneField(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="run"
    )
    note = models.CharField(_("note"), max_length=300, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-id"]
        permissions = [("run_bottling", "Can plan and record bottling runs")]
        constraints = [
            models.CheckConstraint(
                condition=~Q(status="recorded")
                | Q(
                    pieces_filled__gt=0,
                    drawn_grams__gt=0,
                    packed_lot__isnull=False,
                    posting__isnull=False,
                ),
                name="bottling_run_recorded_is_whole",
            ),
            models.CheckConstraint(
                condition=Q(pieces_planned__gt=0), name="bottling_run_pieces_planned_gt_0"
            ),
            models.UniqueConstraint(
                fields=["lot_code", "product"],
                condition=~Q(status="cancelled"),
                name="bottling_run_lot_code_of_a_product_is_one",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def size(self) -> Size:
        """The size of the product that is filled; a product that is filled has one."""
        return self.product.honey_size

    @property
    def honey_grams(self) -> int:
        """All the honey of a recorded run: what was drawn, with the seed or the comb."""
        return (self.drawn_grams or 0) + self.added_grams


class RunCorrection(models.Model):
    """What a recorded run was before it was corrected, and what it is since.

    `before` and `after` hold the figures that differ, by the name of the field.
    """

    run = models.ForeignKey(BottlingRun, on_delete=models.PROTECT, related_name="corrections")
    # None where nothing moved: the minutes were put right.
    posting = models.ForeignKey(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="run_corrections"
    )
    before = models.JSONField()
    after = models.JSONField()
    reason = models.CharField(_("reason"), max_length=300)
    corrected_at = models.DateTimeField(default=timezone.now)
    corrected_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["id"]
        verbose_name = _("correction of a run")
        verbose_name_plural = _("corrections of runs")

    def __str__(self) -> str:
        return f"{self.run} {self.corrected_at:%Y-%m-%d}"


class FillCheck(models.Model):
    """A house check of net weights after a run; not an official inspection.

    A failed check holds the packed lot from sale until somebody releases it, with a reason kept
    here.
    """

    class Scheme(models.TextChoices):
        US = "us", _("United States, NIST Handbook 133")
        EU = "eu", _("European Union, Directive 76/211/EEC")

    run = models.ForeignKey(BottlingRun, on_delete=models.PROTECT, related_name="fill_checks")
    scheme = models.CharField(_("rule"), max_length=2, choices=Scheme, default=Scheme.US)
    tare_milligrams = models.PositiveIntegerField(default=0)
    checked_at = models.DateTimeField(default=timezone.now)
    checked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    has_passed = models.BooleanField()
    reason = models.CharField(max_length=500)
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    release_reason = models.CharField(_("why it may be sold"), max_length=300, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-checked_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(released_at__isnull=True)
                | (Q(released_by__isnull=False, has_passed=False) & ~Q(release_reason="")),
                name="fill_check_release_has_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.run} {self.checked_at:%Y-%m-%d}"


class FillWeight(models.Model):
    """The net weight of one piece of the sample, in whole milligrams."""

    check_made = models.ForeignKey(FillCheck, on_delete=models.CASCADE, related_name="weights")
    net_milligrams = models.PositiveIntegerField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.net_milligrams} mg"
