"""Background work beside the web server: what an act asked for and its answer does not wait for.

A service marks a function with `django_tasks.task` and calls `enqueue` in its own transaction, so
that the task is there if and only if the act is. One thread of `manage.py serve` does the tasks,
one after the other; several machines may serve one database, and each task is done by one of them.
Without `serve`, `manage.py db_worker` does the same.

A task may be lost half-way when a machine stops, and it is not done again by itself. So each task
keeps its state in a row of its own, is safe to run twice, and has a function that queues again what
is still to do: `AT_START` runs them.
"""

import logging
import socket
import threading
from collections.abc import Callable
from typing import Any, Self

from django.core.management import call_command
from django.db import close_old_connections, connections
from django.utils.crypto import get_random_string
from django_tasks_db.management.commands.db_worker import Worker

from apiary_sales.keeping.services import nightly
from apiary_sales.mailing.services import delivery
from apiary_sales.webhooks.services import sending
from inventory.shared.services import long_work

logger = logging.getLogger(__name__)

# Each queues again what a worker that stopped has left.
AT_START: tuple[Callable[[], Any], ...] = (
    delivery.queue_waiting,
    sending.queue_waiting,
    long_work.end_lost,
    nightly.queue_nightly,
)
# Seconds between two looks at an empty queue.
INTERVAL = 1.0
# Seconds that the task being done may take until it ends with the service.
STOP_WAIT = 5.0
# Seconds to wait before the first new start after a failure, doubled up to the most.
RESTART_WAIT, RESTART_WAIT_MAX = 1.0, 60.0
# Tasks that were done are kept so long, for whoever looks for the cause of a failure.
DONE_IS_KEPT_DAYS = 14


class BackgroundWorker:
    """A thread that does tasks from entering to leaving, and starts again when it fails."""

    def __init__(
        self,
        at_start: tuple[Callable[[], Any], ...] = AT_START,
        *,
        restart_wait: float = RESTART_WAIT,
    ) -> None:
        self.at_start = at_start
        self.restart_wait = restart_wait
        self._stopping = threading.Event()
        self._worker: Worker | None = None
        # A daemon: a task that hangs does not keep the service from ending.
        self._thread = threading.Thread(target=self._run, name="background", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *error: object) -> None:
        self._stopping.set()
        if self._worker is not None:
            self._worker.running = False
        self._thread.join(STOP_WAIT)
        if self._thread.is_alive():
            logger.warning("A background task was still running when the service stopped.")

    def _run(self) -> None:
        wait = self.restart_wait
        while not self._stopping.is_set():
            try:
                self._work()
            except Exception:
                logger.exception("Background work failed and starts again in %.0f seconds.", wait)
                self._stopping.wait(wait)
                wait = min(wait * 2, RESTART_WAIT_MAX)
            finally:
                close_old_connections()
        connections.close_all()

    def _work(self) -> None:
        call_command(
            "prune_db_task_results", queue_name="*", min_age_days=DONE_IS_KEPT_DAYS, verbosity=0
        )
        for queue_again in self.at_start:
            queue_again()
        worker = Worker(
            queue_names=["*"],
            interval=INTERVAL,
            batch=False,
            backend_name="default",
            startup_delay=False,
            max_tasks=None,
            worker_id=f"{socket.gethostname()[:40]}-{get_random_string(16)}",
            excluded_queue_names=[],
        )
        self._worker = worker
        # The service may have been told to stop before there was a worker to tell it to.
        if not self._stopping.is_set():
            worker.run()
