"""Keep the moving average of parts at some of their postings, as that of packed items is.

What costs of parts are read for a run then begins at the last closing. The ledger takes away the
closings after what it undoes or corrects, and the correction of a receipt those after the receipt.
"""

from collections.abc import Iterable

from django.db import transaction

from inventory.bottling import part_costs
from inventory.bottling.models import PackagingPart, PartReceipt
from inventory.stock import costing
from inventory.stock.costing import HeapAtAverage
from inventory.stock.models import AverageClosing, Item
from inventory.stock.services import average_closings


def heaps(parts: Iterable[PackagingPart]) -> dict[int, HeapAtAverage]:
    """Return the heap of each of these parts, by part; call it with their items locked.

    Those that took long to work out are kept.
    """
    parts = list(parts)
    found = part_costs.heaps_of(parts)
    close(
        part.item_id for part in parts if found[part.pk].changes > AverageClosing.PART_CHANGES_MAX
    )
    return found


def close(items: Iterable[int]) -> None:
    """Keep the heaps of parts, by item, at every so many postings after their last closing.

    Call it with the items locked.
    """
    for item in set(items):
        heap, moves = part_costs.since_closing(item)
        average_closings.keep(
            item, costing.states_of(heap, moves), every=AverageClosing.PART_CHANGES_MAX
        )


@transaction.atomic
def rebuild() -> None:
    """Make all closings of parts anew."""
    parts = Item.objects.filter(kind=Item.Kind.PART)
    AverageClosing.objects.filter(item__in=parts).delete()
    close([item.pk for item in parts.select_for_update(no_key=True).order_by("pk")])


def open_receipt(receipt: PartReceipt) -> None:
    """Take away the closings since parts came in that have another cost now.

    Call it with the item of the part locked.
    """
    average_closings.open_since(receipt.posting, [receipt.part.item_id])
