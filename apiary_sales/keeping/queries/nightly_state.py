"""Whether the work of the night was done."""

from django.db.models import Case, Subquery, When
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from apiary_sales.keeping.rules import nights


def failed_at_asked() -> Subquery:
    """Ask when the work of the last night failed, beside other questions; None where it did not."""
    done = DBTaskResult.objects.filter(task_path=nights.TASK, finished_at__isnull=False)
    failed_at = Case(When(status=TaskResultStatus.FAILED, then="finished_at"))
    last = done.order_by("-finished_at").annotate(failed_at=failed_at)
    return Subquery(last.values("failed_at")[:1])
