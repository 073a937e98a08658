"""What was sold without a known cost and got one later, and when that was taken off again."""

from datetime import datetime
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.orders.models import FulfilmentLine
from inventory.stock.models.ledger import AppendOnlyModel, AppendOnlyQuerySet


class LateCostingQuerySet(AppendOnlyQuerySet["LateCosting"]):
    def standing(self) -> "LateCostingQuerySet":
        """Return the acts that gave costs and were not undone."""
        return self.filter(undoes=None, undone_by__undoes=None)


class LateCosting(AppendOnlyModel):
    """One act that gave goods sold without a cost the cost that is known now, or undid such an act.

    `season` is the season whose honey it was asked for, None for everything.
    """

    season = models.PositiveSmallIntegerField(_("season"), null=True, blank=True)
    undoes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="undone_by"
    )
    recorded_at = models.DateTimeField(_("when"), default=timezone.now)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("who")
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects: ClassVar[models.Manager["LateCosting"]] = LateCostingQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name = _("late costing")
        verbose_name_plural = _("late costings")
        constraints = [
            models.CheckConstraint(
                condition=Q(undoes=None) | Q(season=None), name="late_costing_undoing_has_no_season"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.recorded_at:%Y-%m-%d} {self.season or ''}".strip()

    @property
    def is_undone(self) -> bool:
        return hasattr(self, "undone_by")

    def counted_at(self, moment: datetime) -> bool:
        """Tell whether its costs were in the books at a moment."""
        is_undone = self.is_undone and self.undone_by.recorded_at <= moment
        return self.recorded_at <= moment and not is_undone


class LateCost(AppendOnlyModel):
    """The cost that one line of goods handed over was given by a late costing."""

    costing = models.ForeignKey(LateCosting, on_delete=models.PROTECT, related_name="lines")
    fulfilment_line = models.ForeignKey(
        FulfilmentLine, on_delete=models.PROTECT, related_name="late_costs"
    )
    cost_cents = models.BigIntegerField(_("cost"))

    objects: ClassVar[models.Manager["LateCost"]] = AppendOnlyQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name = _("late cost")
        verbose_name_plural = _("late costs")
        constraints = [
            models.UniqueConstraint(
                fields=["costing", "fulfilment_line"], name="late_cost_is_one_a_line"
            ),
            models.CheckConstraint(condition=Q(cost_cents__gte=0), name="late_cost_cents_gte_0"),
        ]

    def __str__(self) -> str:
        return f"{self.fulfilment_line}: {self.cost_cents}"
