"""What the database knows of its own tables, by which it chooses how to look something up."""

from django.db import connection


def refresh() -> None:
    """Let the database count its tables anew: they grew, and may want other ways by now.

    SQLite looks at all rows: of the first few alone it would take a column with few values, such as
    the account of a line, for one that tells rows apart. That is seconds in a house with a million
    ledger lines, in which nothing is written.
    """
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
