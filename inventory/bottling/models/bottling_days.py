"""Bottling days: one sheet for a vessel and a day; and how estimated honey was settled."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.bottling.models.products import Product
from inventory.bottling.models.runs import BottlingRun
from inventory.stock.models.ledger import Place, Posting
from inventory.stock.models.vessels import DipReading


class BottlingDay(models.Model):
    """What one vessel filled on one day: a sheet that is kept half filled, then recorded.

    Recording makes a run of each row. The honey drawn is between two dips or two weights of the
    vessel; where they are missing, the runs are estimated. `book_grams_before` is what the ledger
    had in the vessel when the first dip or weight was entered.
    """

    class Status(models.TextChoices):
        DRAFT = "draft", _("not recorded yet")
        RECORDED = "recorded", _("recorded")

    status = models.CharField(max_length=10, choices=Status, default=Status.DRAFT)
    source = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="bottling_days", verbose_name=_("from")
    )
    bottled_on = models.DateField(_("day"), default=timezone.localdate)
    target = models.ForeignKey(
        Place, on_delete=models.PROTECT, null=True, related_name="+", verbose_name=_("put on")
    )
    celsius = models.DecimalField(
        _("temperature of the honey, °C"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    before_mm = models.PositiveIntegerField(_("dip before, mm"), null=True, blank=True)
    after_mm = models.PositiveIntegerField(_("dip after, mm"), null=True, blank=True)
    before_grams = models.BigIntegerField(_("weight before"), null=True, blank=True)
    after_grams = models.BigIntegerField(_("weight after"), null=True, blank=True)
    book_grams_before = models.BigIntegerField(null=True, blank=True)
    dip_before = models.ForeignKey(
        DipReading, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    dip_after = models.ForeignKey(
        DipReading, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    skimmed_grams = models.BigIntegerField(_("foam and skimmings"), default=0)
    skimming = models.ForeignKey(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    note = models.CharField(_("note"), max_length=300, blank=True)
    # Counts up with each save, so that two people who fill it in at once notice each other.
    version = models.PositiveIntegerField(default=0)
    saved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    saved_at = models.DateTimeField(auto_now=True)
    # Of the act that recorded it.
    idempotency_key = models.CharField(max_length=100, unique=True, null=True, blank=True)

    class Meta:
        ordering = ["-bottled_on", "-id"]
        verbose_name = _("bottling day")
        verbose_name_plural = _("bottling days")
        constraints = [
            models.UniqueConstraint(
                fields=["source", "bottled_on"],
                condition=Q(status="draft"),
                name="bottling_day_one_sheet_a_vessel_and_day",
            ),
            models.CheckConstraint(
                condition=Q(skimmed_grams__gte=0), name="bottling_day_skimmed_gte_0"
            ),
            models.CheckConstraint(
                condition=Q(status="draft") | Q(idempotency_key__isnull=False),
                name="bottling_day_recorded_has_its_key",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.source} {self.bottled_on:%Y-%m-%d}"

    @property
    def is_recorded(self) -> bool:
        return self.status == BottlingDay.Status.RECORDED

    @property
    def found_before_grams(self) -> int:
        """What the dip before found beyond the books, unless they were corrected to it."""
        dip = self.dip_before
        if dip is None or dip.accepted_id or self.book_grams_before is None:
            return 0
        return dip.grams - self.book_grams_before


def found_before_grams(run: BottlingRun) -> int:
    """What was in the vessel of a run beyond the books, as its bottling day found before it."""
    days = BottlingDay.objects.filter(rows__run=run).select_related("dip_before")
    day = days.first()
    return day.found_before_grams if day else 0


class BottlingDayRow(models.Model):
    """One product of a bottling day, with its lot code from the first save on."""

    day = models.ForeignKey(BottlingDay, on_delete=models.CASCADE, related_name="rows")
    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, related_name="+", verbose_name=_("product")
    )
    # None while nobody entered them.
    pieces_filled = models.PositiveIntegerField(_("pieces filled"), null=True, blank=True)
    pieces_broken = models.PositiveIntegerField(_("pieces broken"), default=0)
    labour_minutes = models.PositiveIntegerField(_("minutes of work"), null=True, blank=True)
    lot_code = models.CharField(_("lot code"), max_length=30)
    run = models.ForeignKey(
        BottlingRun, on_delete=models.PROTECT, null=True, blank=True, related_name="day_rows"
    )

    class Meta:
        ordering = ["id"]
        verbose_name = _("row of a bottling day")
        verbose_name_plural = _("rows of bottling days")

    def __str__(self) -> str:
        return f"{self.day} {self.product}"


class EstimateSettlement(models.Model):
    """One dip or weight of a vessel that settled its estimated runs up to a day, in proportion.

    `book_grams` should have been in the vessel; `measured_grams` were. The difference is what the
    estimated runs drew less than estimated; below zero, more.
    """

    source = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="settlements")
    measured_on = models.DateField(_("day"))
    dip = models.ForeignKey(
        DipReading, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    measured_grams = models.BigIntegerField()
    book_grams = models.BigIntegerField()
    settled_at = models.DateTimeField(default=timezone.now)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-measured_on", "-id"]
        verbose_name = _("settlement of estimated honey")
        verbose_name_plural = _("settlements of estimated honey")

    def __str__(self) -> str:
        return f"{self.source} {self.measured_on:%Y-%m-%d}"

    @property
    def difference_grams(self) -> int:
        """What was found beyond the books; negative when more was drawn than estimated."""
        return self.measured_grams - self.book_grams


class SettledRun(models.Model):
    """A run whose estimated honey was settled: what was estimated, and what it drew."""

    settlement = models.ForeignKey(
        EstimateSettlement, on_delete=models.CASCADE, related_name="settled_runs"
    )
    run = models.ForeignKey(BottlingRun, on_delete=models.PROTECT, related_name="settled")
    estimated_grams = models.BigIntegerField()
    drawn_grams = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        verbose_name = _("settled run")
        verbose_name_plural = _("settled runs")
        constraints = [
            models.CheckConstraint(
                condition=Q(estimated_grams__gt=0, drawn_grams__gt=0), name="settled_run_grams_gt_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.run} {self.drawn_grams}"
