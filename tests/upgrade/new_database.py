"""The texts that a new database is loaded from: made of what the migrations make.

    python -m tests.upgrade.new_database

writes them again. Run it after `python -m tests.upgrade.landed`, when a migration is new.
"""

import tempfile
from pathlib import Path

from django.core.management import call_command
from django.core.management.commands import migrate
from django.db import connection

from apiary_sales.web import new_database
from tests import postgresql
from tests.upgrade import databases, side_by_side

MIGRATE = "from tests.upgrade import new_database; new_database.migrate_empty({urls})"


def texts() -> dict[str, str]:
    """Return an empty database of each kind as SQL text, made by running every migration.

    Without that of PostgreSQL where it is not installed.
    """
    with tempfile.TemporaryDirectory(prefix="honey-empty-") as folder:
        database = Path(folder) / "honey.sqlite3"
        if postgresql.programs() is None:
            _migrate(folder, databases.sqlite_url(database))
            return {"sqlite": databases.dump_sqlite(database)}
        with postgresql.server() as url:
            _migrate(folder, databases.sqlite_url(database), url)
            return {
                "sqlite": databases.dump_sqlite(database),
                "postgresql": databases.dump_postgresql(url),
            }


def _migrate(folder: str, *urls: str) -> None:
    code = MIGRATE.format(urls=urls)
    made = databases.run(code, data_dir=Path(folder), database_url=urls[0])
    if made.returncode:
        raise SystemExit(made.stderr)


def migrate_empty(urls: tuple[str, ...]) -> None:
    """Migrate the empty databases of these addresses side by side."""
    empty = [side_by_side.connected(url) for url in urls]
    side_by_side.migrate(empty)
    for database in empty:
        with side_by_side.as_default(database), connection.cursor() as cursor:
            # Django's own command: ours would load the text.
            call_command(migrate.Command(), verbosity=0, interactive=False)
            cursor.execute("UPDATE django_migrations SET applied = '2026-01-01'")
            if database.vendor == "postgresql":
                _leave_out_what_migrate_makes(cursor)
        database.close()


def _leave_out_what_migrate_makes(cursor) -> None:
    """Drop the triggers and the index of letters, for which a server may lack the extension."""
    cursor.execute("SELECT oid::regprocedure FROM pg_proc WHERE starts_with(proname, 'books_')")
    for (function,) in cursor.fetchall():
        cursor.execute(f"DROP FUNCTION {function} CASCADE")
    cursor.execute("DROP EXTENSION IF EXISTS pg_trgm CASCADE")


if __name__ == "__main__":
    for vendor, text in texts().items():
        new_database.TEXTS[vendor].write_text(text, encoding="utf-8")
