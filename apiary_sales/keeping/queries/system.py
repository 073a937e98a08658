"""How the service itself is doing: what its owner looks at when something is odd."""

import platform
import shutil
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import django
from django.conf import settings
from django.db import connection
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from apiary_sales import __version__
from apiary_sales.keeping import log_files, snapshots
from apiary_sales.keeping.queries import backup_state
from apiary_sales.keeping.queries.backup_state import BackupState

# Less than this is little, whatever the database weighs.
ROOM_MIN = 1_000_000_000
# A task that has been ready for so long is not being done.
WAITS_TOO_LONG = timedelta(minutes=10)


@dataclass(frozen=True)
class System:
    """The figures of the page of the system; sizes are in bytes."""

    version: str
    python: str
    django: str
    database: str
    database_size: int
    files_size: int
    disk_left: int
    waiting: int
    waiting_since: datetime | None
    failed: int
    log_file: Path | None
    log_size: int
    data_dir: Path
    time_zone: str
    now: datetime
    backups: BackupState

    @property
    def is_disk_short(self) -> bool:
        """Tell whether less is left than a backup and its rehearsal may need."""
        return self.disk_left < max(ROOM_MIN, 3 * (self.database_size + self.files_size))

    @property
    def is_worker_missing(self) -> bool:
        """Tell whether a task waits that should have been begun long ago."""
        return self.waiting_since is not None and self.now - self.waiting_since > WAITS_TOO_LONG


def now() -> System:
    """Return how the service is doing at this moment."""
    # Those that wait for their hour are no queue.
    ready = DBTaskResult.objects.ready()
    failed = DBTaskResult.objects.filter(
        status=TaskResultStatus.FAILED, finished_at__gte=timezone.now() - timedelta(days=1)
    )
    log_file = log_files.path()
    return System(
        version=__version__,
        python=platform.python_version(),
        django=django.get_version(),
        database=_database_words(),
        database_size=snapshots.database().size_bytes(),
        files_size=_size(Path(settings.FILES_DIR)),
        disk_left=shutil.disk_usage(_that_is_there(Path(settings.DATA_DIR))).free,
        waiting=ready.count(),
        waiting_since=_since(ready.order_by("enqueued_at").first()),
        failed=failed.count(),
        log_file=log_file,
        log_size=log_file.stat().st_size if log_file and log_file.exists() else 0,
        data_dir=Path(settings.DATA_DIR),
        time_zone=settings.TIME_ZONE,
        now=timezone.localtime(),
        backups=backup_state.of_house(),
    )


def _since(task: DBTaskResult | None) -> datetime | None:
    """Return when a task could have been begun."""
    if task is None:
        return None
    # One that may begin at once waits for the end of all time in the table.
    return max(task.enqueued_at, task.run_after) if task.run_after.year < 9999 else task.enqueued_at


def _database_words() -> str:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT sqlite_version()")
            return f"SQLite {cursor.fetchone()[0]}"
        cursor.execute("SHOW server_version")
        return f"PostgreSQL {cursor.fetchone()[0]}"


def _size(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def _that_is_there(folder: Path) -> Path:
    return folder if folder.exists() else _that_is_there(folder.parent)
