"""A new database, loaded at once as all migrations together would make it.

Migrating an empty database takes half a minute on SQLite and more on PostgreSQL, nearly all of it
in working out what the models were like between two changes. `new_database.sql` and
`new_database_postgresql.sql` are what comes of it, as SQL text; a test makes them again from the
migrations. Migrations that are newer than the text are run after it, so a text that is behind is
slower and not wrong.
"""

from pathlib import Path

from django.db.backends.base.base import BaseDatabaseWrapper
from django.utils import timezone

FOLDER = Path(__file__).parent
TEXTS = {
    "sqlite": FOLDER / "new_database.sql",
    "postgresql": FOLDER / "new_database_postgresql.sql",
}


def can_be_loaded(connection: BaseDatabaseWrapper) -> bool:
    """Tell whether this is a database with nothing in it, in the place that the text names."""
    if connection.vendor not in TEXTS or connection.introspection.table_names():
        return False
    if connection.vendor == "sqlite":
        return True
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_schema()")
        return cursor.fetchone() == ("public",)


def load(connection: BaseDatabaseWrapper) -> None:
    """Make all tables with the rows that migrations write, and note each migration as applied."""
    text = TEXTS[connection.vendor].read_text(encoding="utf-8")
    # SQLite's text fills tables in the order of their names, whatever they point at.
    with connection.constraint_checks_disabled(), connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.executescript(text)
        else:
            cursor.execute(text)
        cursor.execute("UPDATE django_migrations SET applied = %s", [timezone.now()])
