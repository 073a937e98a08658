"""What the database knows of its own tables, by which it chooses how to look something up."""

import sqlite3

from django.db import connection

# Rows of an index that SQLite looks at: enough to choose well, and done in a moment.
ROWS_LOOKED_AT = 1_000
# The first SQLite whose `optimize` looks at every table, and not only at those of its connection.
OPTIMIZES_ALL = (3, 46, 0)


def refresh() -> None:
    """Let the database count its tables anew: they grew, and may want other ways by now."""
    with connection.cursor() as cursor:
        if connection.vendor != "sqlite":
            cursor.execute("ANALYZE")
            return
        cursor.execute(f"PRAGMA analysis_limit = {ROWS_LOOKED_AT}")
        if sqlite3.sqlite_version_info >= OPTIMIZES_ALL:
            cursor.execute("PRAGMA optimize = 0x10002")
        else:
            cursor.execute("ANALYZE")
