"""Recalls that were started: those that still run, and the records that are kept."""

from collections.abc import Iterable, Sequence

from django.db.models import QuerySet

from apiary_sales.orders.models import Recall
from inventory.stock.models import LotHold


def records() -> QuerySet[Recall]:
    """Return every recall, the latest first, without the long answers they keep."""
    return Recall.objects.defer("answer", "answer_at_finish").select_related(
        "started_by", "finished_by"
    )


def running(lots: Sequence[int]) -> Recall | None:
    """Return the latest recall of one of these lots that is not finished, or None."""
    return records().filter(lots__in=lots, finished_at=None).distinct().first()


def held_by_recall(lots: Sequence[int], holds: Iterable[LotHold]) -> set[int]:
    """Return the keys of the lots that a recall of just these lots holds now, among some holds."""
    asked = LotHold.asked_keys(lots)
    return {
        hold.lot_id
        for hold in holds
        if hold.cause == LotHold.Cause.RECALL
        and hold.asked_lots == asked
        and hold.released_at is None
    }
