"""Whether the work of the night was done."""

from datetime import datetime

from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from apiary_sales.keeping.rules import nights


def failed_at() -> datetime | None:
    """Return when the work of the last night failed; None where it did not."""
    last = (
        DBTaskResult.objects.filter(task_path=nights.TASK, finished_at__isnull=False)
        .order_by("-finished_at")
        .values_list("status", "finished_at")
        .first()
    )
    return last[1] if last is not None and last[0] == TaskResultStatus.FAILED else None
