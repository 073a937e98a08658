"""The work of each night: what is old is deleted, the months of the accounts are kept, hand-overs
are noted whose drums are settled, the database counts its tables anew, and the backup is made and
its restore rehearsed.

One task waits for its hour at any time; each that is done queues the next. A machine that was off
at that hour makes the backup when it is started. Where several machines serve one database, the row
of the night is unique, and who writes it first makes the backup.
"""

import logging
from collections.abc import Callable
from datetime import datetime, timedelta

from django.conf import settings
from django.db import DatabaseError
from django.utils import timezone
from django_tasks import TaskResultStatus, task
from django_tasks_db.models import DBTaskResult

from apiary_sales.billing.services import account_months
from apiary_sales.keeping import statistics, tidying
from apiary_sales.keeping.models import INTERRUPTED_AFTER, Backup
from apiary_sales.keeping.rules import nights
from apiary_sales.keeping.services import backups
from apiary_sales.orders.services import drum_register

logger = logging.getLogger(__name__)

# After a start people want to work; what was missed at night can wait so long.
AFTER_START = timedelta(minutes=10)


class NightlyWorkFailed(Exception):
    """Some of the work of the night was not done; the text names what."""


@task()
def back_up_tonight() -> str:
    """Do the work of the night, and queue the next one.

    Raises `NightlyWorkFailed` where some of it was not done, so that the first page tells the owner
    (see `queries/nightly_state.py`).
    """
    try:
        failed = tidying.tidy_all()
        failed += _failed("account_months", account_months.renew)
        failed += _failed("drum_register", drum_register.close_settled)
        failed += _failed("statistics", statistics.refresh)
        done = make_nightly(now=timezone.localtime())
    finally:
        _queue(nights.next_night(timezone.localtime()))
    if failed:
        raise NightlyWorkFailed(", ".join(failed))
    return done


def _failed(name: str, work: Callable[[], None]) -> list[str]:
    """Do some of the work of the night; return its name where the database did not do it."""
    try:
        work()
    except DatabaseError:
        logger.exception("This was not done at night: %s.", name)
        return [name]
    return []


def make_nightly(*, now: datetime) -> str:
    """Make and rehearse the backup of the night that is due; return what became of it."""
    begun = backups.claim(night=nights.night_due(now))
    if begun is None:
        return "made already"
    made = backups.make(passphrase=settings.BACKUP_PASSPHRASE, begun=begun)
    rehearsed = backups.rehearse(backup=made, passphrase=settings.BACKUP_PASSPHRASE)
    if not rehearsed.rehearsal_ok:
        logger.error("The restore of %s failed in rehearsal: %s", made.file, rehearsed.message)
        return "rehearsal failed"
    if rehearsed.message:
        logger.warning("%s: %s", made.file, rehearsed.message)
    logger.info("Backed up to %s, and rehearsed its restore.", made.file)
    return "made and rehearsed"


def queue_nightly() -> int:
    """Queue the next nightly backup, soon where one was missed; return how many were queued.

    One that waits already is left alone.
    """
    now = timezone.localtime()
    due = Backup.objects.filter(night=nights.night_due(now)).first()
    if due is None:
        return _queue(now + AFTER_START)
    if due.finished_at is None:
        # It is being made by another machine, or was interrupted.
        return _queue(max(now + AFTER_START, due.made_at + INTERRUPTED_AFTER))
    return _queue(nights.next_night(now))


def _queue(at: datetime) -> int:
    waiting = DBTaskResult.objects.filter(
        task_path=back_up_tonight.module_path, status=TaskResultStatus.READY, run_after__lte=at
    )
    if waiting.exists():
        return 0
    back_up_tonight.using(run_after=at).enqueue()
    return 1
