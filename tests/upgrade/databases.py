"""Databases of the versions that landed, kept as SQL text: where they are, made and loaded."""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import psycopg

from tests import postgresql

FOLDER = Path(__file__).resolve().parent
ROOT = FOLDER.parent.parent

# When the house of every dump was made, and, a little later, when it is upgraded in the tests.
MADE_AT = datetime(2026, 11, 25, 12, tzinfo=ZoneInfo("America/Chicago"))


def dump_path(version: str, vendor: str) -> Path:
    return FOLDER / f"{version}-{vendor}.sql"


def versions(vendor: str) -> list[str]:
    """Return the versions with a dump of this kind of database, oldest first."""
    names = [path.name.removesuffix(f"-{vendor}.sql") for path in FOLDER.glob(f"*-{vendor}.sql")]
    return sorted(names, key=numbers)


def numbers(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split("."))


def run(code: str, *, data_dir: Path, database_url: str) -> subprocess.CompletedProcess[str]:
    """Run Python code with the service set up on a database, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-W", "error", "manage.py", "shell", "--no-imports", "-c", code],
        cwd=ROOT,
        env={**os.environ, "DATA_DIR": str(data_dir), "DATABASE_URL": database_url},
        capture_output=True,
        text=True,
    )


def sqlite_url(database: Path) -> str:
    return f"sqlite:///{database}"


def dump_sqlite(database: Path) -> str:
    """Return a SQLite file as SQL text.

    The full-text table and all triggers are left out: `migrate` makes them, and as text that table
    cannot be loaded.
    """
    with closing(sqlite3.connect(":memory:")) as connection:
        with closing(sqlite3.connect(database)) as kept:
            kept.backup(connection)
        triggers = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        for (name,) in connection.execute(triggers).fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("DROP TABLE IF EXISTS finding_text")
        connection.commit()
        return "\n".join(connection.iterdump()) + "\n"


def load_sqlite(dump: str, database: Path) -> None:
    with closing(sqlite3.connect(database)) as connection:
        connection.executescript(dump)


def dump_postgresql(url: str) -> str:
    """Return a PostgreSQL database as SQL text that any server of ours can load.

    Rows come as INSERT, one a line. What only psql understands, and settings that older servers
    lack, are left out.
    """
    # The client program of the server's own version is beside the server's programs.
    program = (postgresql.programs() / "initdb").resolve().with_name("pg_dump")
    options = ["--no-owner", "--no-privileges", "--rows-per-insert=1000"]
    made = subprocess.run(
        [program, *options, url],
        check=True,
        capture_output=True,
        text=True,
        cwd="/",
        # Moments are told in a zone: the same one on every machine.
        env={**os.environ, "PGTZ": "UTC"},
    )
    return "\n".join(_statements(made.stdout)) + "\n"


def _statements(dump: str) -> Iterator[str]:
    for line in dump.splitlines():
        if line.startswith(("SET ", "SELECT pg_catalog.set_config", "\\", "--")) or not line:
            continue
        yield line


def load_postgresql(dump: str, url: str) -> None:
    with psycopg.connect(url) as connection:
        connection.execute(dump)
