"""Recalls that were started: those that still run, and the records that are kept."""

from collections.abc import Sequence

from django.db.models import QuerySet

from apiary_sales.orders.models import Recall, RecallAct


def records() -> QuerySet[Recall]:
    """Return every recall, the latest first, without the long answers they keep."""
    return Recall.objects.defer("answer").select_related("started_by", "finished_by")


def running(lots: Sequence[int]) -> Recall | None:
    """Return the latest recall of one of these lots that is not finished, or None."""
    return records().filter(lots__in=lots, finished_at=None).distinct().first()


def acts(lots: Sequence[int]) -> list[RecallAct]:
    """Return when these lots were put on hold or released because of a recall, latest first."""
    found = RecallAct.objects.filter(lots__in=lots).select_related("done_by")
    return list(found.distinct())
