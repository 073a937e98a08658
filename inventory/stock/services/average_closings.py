"""Keep the moving average of packed items and of parts at some of their postings.

A reading of today's average begins at the last closing. What changes history takes away the
closings after it: an undone posting, another cost of a lot or of parts that came in, and a
correction, which counts in the place of what it corrects. Those of packed items are made here,
and none by a house that values by lot; those of parts by
`inventory.bottling.services.part_closings`.
"""

from collections.abc import Iterable

from django.db import connection, transaction
from django.db.models import Min

from inventory.stock import costing
from inventory.stock.costing import AverageState
from inventory.stock.models import (
    AverageClosing,
    Item,
    Lot,
    Posting,
    PostingLine,
    ProductionSettings,
)

# The first key of these locks of PostgreSQL; the second is that of the item.
LOCKS = 7_403


def close(items: Iterable[int]) -> None:
    """Keep the averages of items at every so many postings after their last closing.

    Call it with the items locked. An item of which a lot is just getting another cost is left to a
    later call.
    """
    for item in items:
        if _try_lock(item):
            _close(item)


@transaction.atomic
def rebuild() -> None:
    """Make all closings of packed items anew; none for a house that values by lot."""
    kinds = (Item.Kind.PACKED, Item.Kind.GOODS)
    AverageClosing.objects.filter(item__kind__in=kinds).delete()
    if ProductionSettings.current().costs_by_average:
        items = Item.objects.select_for_update(no_key=True).filter(kind__in=kinds)
        close([item.pk for item in items.order_by("pk")])


def keep(item: int, states: Iterable[tuple[int, AverageState]], *, every: int) -> None:
    """Keep every so many of the states that an item had at its postings since its last closing."""
    AverageClosing.objects.bulk_create(
        AverageClosing.of(item, posting, state)
        for number, (posting, state) in enumerate(states, start=1)
        if number % every == 0
    )


def open_again(posting: Posting) -> None:
    """Take away the closings from a posting on that is undone; call it with its items locked."""
    items = PostingLine.objects.of_entry(posting).values_list("item", flat=True)
    open_since(posting, set(items))


def open_since(posting: Posting, items: Iterable[int]) -> None:
    """Take away the closings of items from a posting on; call it with the items locked."""
    AverageClosing.objects.filter(item__in=items, posting__gte=posting.pk).delete()


def open_lot_again(lot: Lot) -> None:
    """Take away the closings since the first posting of a lot that has another cost now."""
    if lot.product is None:
        return
    item = lot.product.item_id
    _lock(item)
    first = PostingLine.objects.filter(lot=lot, item=item).aggregate(first=Min("posting"))["first"]
    if first is not None:
        AverageClosing.objects.filter(item=item, posting__gte=first).delete()


def _close(item: int) -> None:
    last = AverageClosing.objects.last_of([item])
    average = last[item].average if last else costing.AverageCost()
    since = {item: last[item].posting_id} if last else {}
    states = costing.states_of(average, PostingLine.objects.changes_at_cost([item], since=since))
    keep(item, states, every=AverageClosing.CHANGES_MAX)


def _try_lock(item: int) -> bool:
    """Tell whether no lot of the item is getting another cost; keep others from it until the end.

    Who changes a cost has not locked the item. He waits here, but nobody waits for him, since he
    may have other locks: that of the lot he takes without its key, so that lines of the lot can be
    added meanwhile. SQLite has one writer at a time.
    """
    if connection.vendor != "postgresql":
        return True
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s, %s)", [LOCKS, item])
        return bool(cursor.fetchone()[0])


def _lock(item: int) -> None:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [LOCKS, item])
