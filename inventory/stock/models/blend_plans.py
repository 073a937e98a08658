"""Blends that are planned: which vessels, in what weights, into which, to be what."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.stock.blends import BlendLimits
from inventory.stock.models.ledger import Place, Posting
from inventory.stock.models.lots import Lot


class BlendPlan(models.Model):
    """Honey that is to be poured together into one vessel.

    A draft moves no honey and reserves none. Carrying it out makes one posting; while that posting
    is undone, the plan may be carried out again. A limit that nobody asked for is None.
    """

    class Status(models.TextChoices):
        DRAFT = "draft", _("draft")
        CARRIED_OUT = "carried_out", _("carried out")
        DROPPED = "dropped", _("dropped")

    number = models.CharField(_("number"), max_length=20, unique=True)
    status = models.CharField(
        _("state"), max_length=12, choices=Status, default=Status.DRAFT, db_index=True
    )
    target = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="+", verbose_name=_("into")
    )
    # What was in the target when the blend was planned, and is part of it; None for an empty one.
    target_lot = models.ForeignKey(
        Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    # How much of it was there when the plan was carried out.
    target_grams = models.BigIntegerField(null=True, blank=True)
    grams_min = models.BigIntegerField(_("weight, at least"))
    grams_max = models.BigIntegerField(_("weight, at most"), null=True, blank=True)
    colour_mm_min = models.DecimalField(
        _("colour, at least, mm Pfund"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    colour_mm_max = models.DecimalField(
        _("colour, at most, mm Pfund"), max_digits=4, decimal_places=1, null=True, blank=True
    )
    moisture_percent_min = models.DecimalField(
        _("moisture, at least, percent"), max_digits=4, decimal_places=2, null=True, blank=True
    )
    moisture_percent_max = models.DecimalField(
        _("moisture, at most, percent"), max_digits=4, decimal_places=2, null=True, blank=True
    )
    buyer = models.CharField(_("for whom"), max_length=120, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    planned_at = models.DateTimeField(_("planned"), default=timezone.now)
    planned_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("who")
    )
    # When it was carried out or dropped.
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    posting = models.OneToOneField(
        Posting, on_delete=models.PROTECT, null=True, blank=True, related_name="blend_plan"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-id"]
        verbose_name = _("blend plan")
        verbose_name_plural = _("blend plans")
        constraints = [
            models.CheckConstraint(
                condition=Q(grams_min__gt=0)
                & (Q(grams_max__isnull=True) | Q(grams_max__gte=F("grams_min"))),
                name="blend_plan_grams_in_order",
            ),
            models.CheckConstraint(
                condition=Q(status="carried_out", posting__isnull=False)
                | (~Q(status="carried_out") & Q(posting__isnull=True)),
                name="blend_plan_carried_out_has_a_posting",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def limits(self) -> BlendLimits:
        """What was asked of the blend."""
        return BlendLimits(
            grams_min=self.grams_min,
            grams_max=self.grams_max,
            colour_mm_min=self.colour_mm_min,
            colour_mm_max=self.colour_mm_max,
            moisture_percent_min=self.moisture_percent_min,
            moisture_percent_max=self.moisture_percent_max,
        )

    @property
    def is_undone(self) -> bool:
        """Whether it was carried out and its posting was undone."""
        return self.posting is not None and hasattr(self.posting, "reversed_by")

    @property
    def is_open(self) -> bool:
        """Whether it may still be carried out."""
        return self.status == self.Status.DRAFT or self.is_undone


class BlendPlanLine(models.Model):
    """So many grams from one vessel; `poured_grams` is what was really poured, once it was."""

    plan = models.ForeignKey(BlendPlan, on_delete=models.CASCADE, related_name="lines")
    place = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="+", verbose_name=_("from")
    )
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+")
    grams = models.BigIntegerField(_("weight"))
    poured_grams = models.BigIntegerField(_("poured"), null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["plan", "place"], name="blend_plan_line_of_a_place_is_one"
            ),
            models.CheckConstraint(
                condition=Q(grams__gt=0) & (Q(poured_grams__isnull=True) | Q(poured_grams__gte=0)),
                name="blend_plan_line_grams_gt_0",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plan} {self.place}: {self.grams}"

    @property
    def moved_grams(self) -> int:
        """What was poured, or is to be poured."""
        return self.grams if self.poured_grams is None else self.poured_grams
