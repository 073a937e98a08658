"""Bottling runs, the dips read for them and the weights checked before and after them."""

from datetime import date
from fractions import Fraction

from django.conf import settings
from django.db import models
from django.db.models import Count, Exists, OuterRef, Q, Sum
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.bottling.models.packaging import Size
from inventory.bottling.models.products import Product
from inventory.shared import days
from inventory.stock.models.ledger import Place, Posting
from inventory.stock.models.lots import Lot
from inventory.stock.models.vessels import DipReading


class BottlingRunQuerySet(models.QuerySet["BottlingRun"]):
    def estimated(
        self, source: Place | None = None, *, until: date | None = None
    ) -> "BottlingRunQuerySet":
        """Return the recorded runs whose honey nobody measured, the oldest first.

        Of one vessel, and up to a day, where these are given.
        """
        found = self.filter(
            status=BottlingRun.Status.RECORDED, drawn_by=BottlingRun.DrawnBy.ESTIMATED
        )
        if source is not None:
            found = found.filter(source=source)
        if until is not None:
            found = found.filter(packed_lot__made_on__lte=until)
        return found.select_related("source", "lot", "packed_lot", "product__size").order_by(
            "packed_lot__made_on", "id"
        )


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
        # From the pieces and their usual overfill, until a dip or a weight settles it.
        ESTIMATED = "estimated", _("estimated")

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
        _("weighed by"), max_length=9, choices=DrawnBy, default=DrawnBy.SCALE
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

    objects = BottlingRunQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["status", "planned_for"], name="run_by_status"),
            models.Index(fields=["-recorded_at", "-id"], name="run_newest_first"),
            models.Index(fields=["product"], condition=Q(status="planned"), name="run_planned"),
        ]
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
    def can_be_recorded(self) -> bool:
        """Whether it is planned, or was undone: its code is on the jars, so it keeps it."""
        return self.status in (self.Status.PLANNED, self.Status.REVERSED)

    @property
    def is_estimated(self) -> bool:
        """Whether nobody has measured yet what the recorded run drew."""
        return self.drawn_by == BottlingRun.DrawnBy.ESTIMATED

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


class RunDip(models.Model):
    """A dip that was read for a run, before or after it."""

    class Moment(models.TextChoices):
        BEFORE = "before", _("before the run")
        AFTER = "after", _("after the run")

    run = models.ForeignKey(BottlingRun, on_delete=models.PROTECT, related_name="dips")
    reading = models.OneToOneField(DipReading, on_delete=models.PROTECT, related_name="run_dip")
    moment = models.CharField(_("when"), max_length=6, choices=Moment)

    class Meta:
        verbose_name = _("dip of a run")
        verbose_name_plural = _("dips of runs")
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.run} {self.moment}: {self.reading}"


class FillCheckQuerySet(models.QuerySet["FillCheck"]):
    def whole(self) -> "FillCheckQuerySet":
        """Leave out checks whose weights are also the first ones of a later check."""
        return self.filter(continued_by__isnull=True)

    def open_samples(self, run: BottlingRun) -> "FillCheckQuerySet":
        """Return the samples of a recorded run that were too small for a verdict, newest first."""
        return self.whole().filter(run=run, has_passed__isnull=True, lot_pieces__isnull=False)

    def average_overfill(
        self, size: Size, *, checks: int = 3, until: date | None = None
    ) -> Fraction | None:
        """Return the grams that a piece of a size has beyond its label, by its last checks.

        The mean of all weights of the last check of each of the last `checks` runs that were
        checked, up to the day `until`, less the label weight; negative when they are short, and
        None when none was checked. Of one run only its last check counts: the nozzle was set
        anew after the ones before it.
        """
        found = self.filter(run__product__size=size)
        if until is not None:
            found = found.filter(**days.lookups("checked_at", last=until))
        later = found.filter(
            Q(checked_at__gt=OuterRef("checked_at"))
            | Q(checked_at=OuterRef("checked_at"), pk__gt=OuterRef("pk")),
            run=OuterRef("run"),
        )
        last = list(found.filter(~Exists(later)).values_list("pk", flat=True)[:checks])
        totals = FillWeight.objects.filter(check_made__in=last).aggregate(
            milligrams=Sum("net_milligrams"), pieces=Count("pk")
        )
        if not totals["pieces"]:
            return None
        mean = Fraction(totals["milligrams"], 1000 * totals["pieces"])
        return mean - Fraction(size.declared_grams)


class FillCheck(models.Model):
    """A house check of net weights before or after a run; not an official inspection.

    Any number of pieces may be weighed: only a full sample of a recorded run has a verdict, and
    `has_passed` is None without one. `lot_pieces` is how many pieces the run had filled when they
    were weighed; it is None for a check before the run was recorded, which sets the nozzle.
    A sample that was too small may be weighed on: the later check then has all its weights, and
    `continues` the earlier one. A failed check holds the packed lot from sale until somebody
    releases it, with a reason kept here.
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
    lot_pieces = models.PositiveIntegerField(_("pieces of the lot"), null=True, blank=True)
    continues = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="continued_by"
    )
    has_passed = models.BooleanField(_("passed"), null=True, blank=True)
    reason = models.CharField(max_length=500)
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    release_reason = models.CharField(_("why it may be sold"), max_length=300, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = FillCheckQuerySet.as_manager()

    class Meta:
        ordering = ["-checked_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(lot_pieces__gt=0) | Q(lot_pieces__isnull=True, has_passed__isnull=True),
                name="fill_check_verdict_is_of_a_lot",
                violation_error_message=_("A check before the run has no verdict."),
            ),
            models.CheckConstraint(
                condition=Q(released_at__isnull=True)
                | (Q(released_by__isnull=False, has_passed=False) & ~Q(release_reason="")),
                name="fill_check_release_has_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.run} {self.checked_at:%Y-%m-%d}"

    @property
    def is_before_run(self) -> bool:
        """Whether it was weighed before the run was recorded, to set the nozzle."""
        return self.lot_pieces is None


class FillWeight(models.Model):
    """The net weight of one piece of the sample, in whole milligrams."""

    check_made = models.ForeignKey(FillCheck, on_delete=models.CASCADE, related_name="weights")
    net_milligrams = models.PositiveIntegerField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.net_milligrams} mg"
