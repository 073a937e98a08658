"""Tell what is wrong with the disk or the database, where an error is no mistake of the program."""

import errno
import sqlite3
from collections.abc import Iterator

from django.db import InterfaceError, OperationalError

# Seconds after which a database that was away may be back.
SECONDS_UNTIL_BACK = 10
# Nothing is left on the disk, or of what this user may use of it.
NO_ROOM = (errno.ENOSPC, errno.EDQUOT)
# PostgreSQL's class 53, insufficient resources: disk full.
POSTGRESQL_DISK_FULL = "53100"
# The low byte of a code of SQLite is the kind of error.
SQLITE_KIND = 0xFF


def is_disk_full(error: BaseException | None) -> bool:
    """Tell whether there was no room for what was to be written; then nothing of it is."""
    return any(_says_full(each) for each in _chain(error))


def is_unreachable(error: BaseException | None) -> bool:
    """Tell whether the database was away, or too busy to answer in time.

    SQLite reports mistakes in a statement as the same kind of error: those are mistakes of ours.
    """
    if not isinstance(error, OperationalError | InterfaceError):
        return False
    return _sqlite_kind(error.__cause__) != sqlite3.SQLITE_ERROR


def _says_full(error: BaseException) -> bool:
    if isinstance(error, OSError) and error.errno in NO_ROOM:
        return True
    return (
        _sqlite_kind(error) == sqlite3.SQLITE_FULL
        or getattr(error, "sqlstate", None) == POSTGRESQL_DISK_FULL
    )


def _sqlite_kind(error: BaseException | None) -> int | None:
    code = getattr(error, "sqlite_errorcode", None)
    return None if code is None else code & SQLITE_KIND


def _chain(error: BaseException | None) -> Iterator[BaseException]:
    """Yield an error and those that led to it: undoing what a full disk broke off may fail too."""
    seen: set[int] = set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        yield error
        error = error.__cause__ or error.__context__
