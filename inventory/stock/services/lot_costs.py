"""Keep each change of what a lot costs, whoever makes it."""

from collections.abc import Collection
from typing import Any

from inventory.stock.models import Lot, LotCost
from inventory.stock.services import average_closings

FIGURES = ("cost_cents", "quantity_made")


def keep(
    *,
    instance: Lot,
    created: bool = False,
    update_fields: Collection[str] | None = None,
    raw: bool = False,
    **_kwargs: Any,
) -> None:
    """Write down what a lot costs now, where that is another cost than before.

    Called whenever a lot is saved, so that no act can forget it.
    """
    if raw or (update_fields is not None and not set(FIGURES) & set(update_fields)):
        return
    now = Lot.objects.values_list(*FIGURES).get(pk=instance.pk)
    before = LotCost.objects.filter(lot=instance).order_by("-id").values_list(*FIGURES).first()
    if now != before:
        cost_cents, quantity_made = now
        LotCost.objects.create(lot=instance, cost_cents=cost_cents, quantity_made=quantity_made)
        if not created:
            average_closings.open_lot_again(instance)
