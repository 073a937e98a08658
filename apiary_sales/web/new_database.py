"""A new SQLite database, loaded at once as all migrations together would make it.

Migrating an empty database takes half a minute, nearly all of it in working out what the models
were like between two changes. `new_database.sql` is what comes of it, as SQL text; a test makes
it again from the migrations. Migrations that are newer than the text are run after it, so a text
that is behind is slower and not wrong.
"""

from pathlib import Path

from django.db.backends.base.base import BaseDatabaseWrapper
from django.utils import timezone

TEXT = Path(__file__).with_suffix(".sql")


def can_be_loaded(connection: BaseDatabaseWrapper) -> bool:
    """Tell whether this is a SQLite database with nothing in it."""
    return connection.vendor == "sqlite" and not connection.introspection.table_names()


def load(connection: BaseDatabaseWrapper) -> None:
    """Make all tables with the rows that migrations write, and note each migration as applied."""
    # The text fills tables in the order of their names, whatever they point at.
    with connection.constraint_checks_disabled(), connection.cursor() as cursor:
        cursor.executescript(TEXT.read_text(encoding="utf-8"))
        cursor.execute("UPDATE django_migrations SET applied = %s", [timezone.now()])
