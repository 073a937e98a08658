"""Find out whether the log beside a SQLite database belongs to another database.

SQLite keeps what was committed last in a log beside the database (`-wal`), and the next program
that opens the database writes it into it. After a crash or a power cut that is what saves the last
sales, and it has to happen without a word. But where somebody copied another database, such as a
backup, over a house's own while its log was left beside, the same step writes pages of the one
between pages of the other, and destroys both.

Nothing in the header of either file says that they belong together: the log has random numbers that
the database does not know, the times of files are those of copying, and a mark of the service's own
would be in a copy of the database as well. So the pages themselves are asked, before anything is
written. Read through its log, a database that belongs to it is whole: SQLite promises that for a
crash at any moment, and for a copy of both files on another machine, since the log holds each page
that was changed since the database was last complete. With a log of another time the tables and
indexes don't agree, unless every page that differs is in the log; then reading through it is right.
Seldom, what is mixed may agree and say something else than either: that is for `verify_ledger`.

A set is torn where the database is whole without its log and damaged through it, and where the
database is missing: SQLite would make an empty one, and delete the log. Where it is damaged both
ways the disk or a program is to blame: that is not for the start to judge. Reading costs time by
the size of the database, so it is done only where a log was left, which is after a crash.
"""

import sqlite3
from contextlib import closing
from pathlib import Path

# The header of a log is 32 bytes, and without a page behind it there is nothing to write.
HEADER_BYTES = 32
BESIDE = ("-wal", "-shm")


def beside(database: Path) -> list[Path]:
    """Return the files of the log that are beside a database."""
    paths = (database.with_name(database.name + end) for end in BESIDE)
    return [path for path in paths if path.exists()]


def has_log(database: Path) -> bool:
    """Tell whether a log was left that the next program to open the database would use up."""
    return _size(database.with_name(f"{database.name}-wal")) > HEADER_BYTES


def fault(database: Path) -> str:
    """Return what is wrong with a torn set of files; nothing for one that is not torn.

    Neither the database nor its log is changed.
    """
    if not has_log(database):
        return ""
    if not _size(database):
        return "the database is missing or empty"
    # Read only: SQLite then leaves the log as it is, also as the last to close it.
    through_log = _damage(database, "mode=ro")
    # Immutable: SQLite takes no notice of the log.
    if through_log and not _damage(database, "immutable=1"):
        return through_log
    return ""


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


def _damage(database: Path, how: str) -> str:
    try:
        with closing(sqlite3.connect(f"{database.absolute().as_uri()}?{how}", uri=True)) as opened:
            [(said,)] = opened.execute("PRAGMA integrity_check(1)").fetchall()
    except sqlite3.OperationalError:
        # In use, or not to be opened by this user: whoever opens it next says so.
        return ""
    except sqlite3.DatabaseError as error:
        said = str(error)
    return "" if said == "ok" else " ".join(said.split())
