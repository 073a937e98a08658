"""Whether the service can do its work now."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from django.db import DatabaseError, connection, transaction

from apiary_sales.keeping.models import Backup

logger = logging.getLogger(__name__)

# Acts of people wait longer for their turn; a monitor wants an answer.
WAIT_MS = 1_000


def is_well() -> bool:
    """Tell whether the database takes a write within a second. It changes no row.

    SQLite takes its lock for writing, and PostgreSQL refuses this statement where it only reads.
    """
    try:
        with _short_wait():
            Backup.objects.filter(pk=0).update(message="")
    except DatabaseError:
        logger.exception("The database does not take a write.")
        return False
    return True


@contextmanager
def _short_wait() -> Iterator[None]:
    """Begin a transaction that waits `WAIT_MS` and no longer for what others hold."""
    if connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            # Both end with the transaction.
            cursor.execute(f"SET LOCAL lock_timeout = {WAIT_MS}")
            cursor.execute(f"SET LOCAL statement_timeout = {WAIT_MS}")
            yield
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout")
        [usual] = cursor.fetchone()
        cursor.execute(f"PRAGMA busy_timeout = {WAIT_MS}")
        usual_turn = connection.turn_seconds  # type: ignore[attr-defined]
        connection.turn_seconds = WAIT_MS / 1000  # type: ignore[attr-defined]
        try:
            with transaction.atomic():
                yield
        finally:
            cursor.execute(f"PRAGMA busy_timeout = {usual}")
            connection.turn_seconds = usual_turn  # type: ignore[attr-defined]
