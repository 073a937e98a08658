"""The text a new SQLite database is loaded from: made of what the migrations make.

    python -m tests.upgrade.new_database

writes it again. Run it after `python -m tests.upgrade.landed`, when a migration is new.
"""

import tempfile
from pathlib import Path

from apiary_sales.web import new_database
from tests.upgrade import databases

# Django's own command: ours would load the text.
MIGRATE = (
    "from django.core.management import call_command; "
    "from django.core.management.commands import migrate; "
    "call_command(migrate.Command(), verbosity=0, interactive=False); "
    "from django.db import connection; "
    "connection.cursor().execute(\"UPDATE django_migrations SET applied = '2026-01-01'\")"
)


def text() -> str:
    """Return an empty database as SQL text, made by running every migration."""
    with tempfile.TemporaryDirectory(prefix="honey-empty-") as folder:
        database = Path(folder) / "honey.sqlite3"
        made = databases.run(
            MIGRATE, data_dir=Path(folder), database_url=databases.sqlite_url(database)
        )
        if made.returncode:
            raise SystemExit(made.stderr)
        return databases.dump_sqlite(database)


if __name__ == "__main__":
    new_database.TEXT.write_text(text(), encoding="utf-8")
