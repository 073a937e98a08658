"""Prove the kept averages of parts: work each out again from the whole history of the part."""

from collections.abc import Iterator

from inventory.bottling import part_costs
from inventory.bottling.models import PackagingPart
from inventory.stock import costing
from inventory.stock.queries import average_closings


def faults() -> Iterator[str]:
    """Yield a sentence for each closing that the lines and receipts of its part do not prove."""
    parts = PackagingPart.objects.filter(item__average_closings__isnull=False)
    for part in parts.select_related("item").order_by("pk").distinct():
        kept = {
            closing.posting_id: closing.heap.state for closing in part.item.average_closings.all()
        }
        states = costing.states_of(costing.HeapAtAverage(), part_costs.moves([part.item_id]))
        yield from average_closings.unproved(part.name, kept, states)
