"""Read one state of the database, while others go on writing."""

from collections.abc import Iterator
from contextlib import contextmanager
from copy import deepcopy

from django.db import DEFAULT_DB_ALIAS, connections, transaction

ALIAS = "snapshot"


@contextmanager
def snapshot() -> Iterator[str]:
    """Yield the alias of a connection of its own that sees the database as it is now, to the end.

    On SQLite that is a reader of the write-ahead log, which keeps no writer waiting; on PostgreSQL
    a read-only transaction that repeats what it read.
    """
    details = deepcopy(connections.databases[DEFAULT_DB_ALIAS])
    # An immediate transaction would lock out all writers.
    details.get("OPTIONS", {}).pop("transaction_mode", None)
    with another_connection(ALIAS, details), transaction.atomic(using=ALIAS):
        connection = connections[ALIAS]
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            # The first reading fixes what is seen.
            cursor.execute("SELECT 1 FROM django_migrations LIMIT 1")
        yield ALIAS


@contextmanager
def reading() -> Iterator[None]:
    """Let all that is read within be of one state of the house's own database, and write nothing.

    Nobody waits for it: on SQLite it is a reader of the write-ahead log, on PostgreSQL a read-only
    transaction that repeats what it read. Within a transaction that is open already it reads in
    that one.
    """
    connection = connections[DEFAULT_DB_ALIAS]
    if connection.in_atomic_block:
        yield
        return
    connection.ensure_connection()
    is_sqlite = connection.vendor == "sqlite"
    # An immediate transaction would lock out all writers.
    usual = getattr(connection, "transaction_mode", None)
    if is_sqlite:
        connection.transaction_mode = None  # type: ignore[attr-defined]
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            if is_sqlite:
                cursor.execute("PRAGMA query_only = ON")
            else:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            # The first reading fixes what is seen.
            cursor.execute("SELECT 1 FROM django_migrations LIMIT 1")
            yield
    finally:
        if is_sqlite:
            connection.transaction_mode = usual  # type: ignore[attr-defined]
            if connection.connection is not None:
                connection.connection.execute("PRAGMA query_only = OFF")


@contextmanager
def another_connection(alias: str, details: dict) -> Iterator[None]:
    """Have a second connection under this alias, until the block is left."""
    connections.databases[alias] = details
    try:
        yield
    finally:
        connections[alias].close()
        del connections[alias]
        del connections.databases[alias]
