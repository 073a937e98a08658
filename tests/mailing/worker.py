"""The database worker, run until nothing is left to do."""

from unittest import mock

from django_tasks_db.management.commands import db_worker


def do_all() -> None:
    worker = db_worker.Worker(
        queue_names=["*"],
        interval=0,
        batch=True,
        backend_name="default",
        startup_delay=False,
        max_tasks=None,
        worker_id="test",
        excluded_queue_names=[],
    )
    # It would close the connection that the transaction of the test is in.
    with mock.patch.object(db_worker, "close_old_connections"):
        worker.run()
