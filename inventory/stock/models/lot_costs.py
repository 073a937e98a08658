"""What each lot was known to cost, and since when."""

from collections.abc import Iterable
from datetime import datetime
from typing import ClassVar

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.stock.models.ledger import AppendOnlyModel, AppendOnlyQuerySet
from inventory.stock.models.lots import Lot

# The cost of a lot in cents, None while unknown, and how much was made for it.
CostOfLot = tuple[int | None, int]


class LotCostQuerySet(AppendOnlyQuerySet["LotCost"]):
    def known_at(self, moment: datetime, lots: Iterable[int]) -> dict[int, CostOfLot]:
        """Return what lots were known to cost at a moment, by key.

        A lot that is younger than the moment has what it first cost: nothing earlier is kept.
        """
        found: dict[int, CostOfLot] = {}
        wanted = set(lots)
        for lot, cost_cents, made, known_at in self.order_by("id").values_list(
            "lot", "cost_cents", "quantity_made", "known_at"
        ):
            if lot in wanted and (known_at <= moment or lot not in found):
                found[lot] = (cost_cents, made)
        return found


class LotCost(AppendOnlyModel):
    """A lot was known to cost so much from a moment on; a row for each change."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="costs")
    cost_cents = models.BigIntegerField(_("cost"), null=True)
    quantity_made = models.BigIntegerField()
    known_at = models.DateTimeField(default=timezone.now)

    objects: ClassVar[models.Manager["LotCost"]] = LotCostQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name = _("cost of a lot")
        verbose_name_plural = _("costs of lots")

    def __str__(self) -> str:
        return f"{self.lot}: {self.cost_cents}"
