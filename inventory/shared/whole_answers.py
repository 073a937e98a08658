"""Let PostgreSQL plan for the whole of an answer that is read in parts.

What Django reads with `iterator()` comes through a cursor of the server, and PostgreSQL plans one
as if only the first tenth of its rows were wanted. Proofs, reports and exports read all of them:
with such a plan a proof that takes a second takes hours in a house of a million lines.
"""

from typing import Any


def plan_for_all(connection: Any, **_named: Any) -> None:
    """Let a new connection to PostgreSQL plan its cursors for all of their rows."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET cursor_tuple_fraction = 1")
