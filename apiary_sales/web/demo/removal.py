"""Remove the demo, wherever it is, and never a real house."""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connection

from apiary_sales.keeping import log_files
from apiary_sales.web.demo import beside

DATABASE = "honey.sqlite3"
# What SQLite keeps beside a database.
BESIDE_SQLITE = ("-wal", "-shm", "-journal")
# Of the papers, those that the demo writes.
PAPERS = ("quote-*.pdf", "pick-list-*.pdf", "receipt-*.pdf", "invoice-*.pdf")


class CannotRemove(Exception):
    """What is there may be a real house, or is in use; it is left alone."""


def remove() -> list[str]:
    """Remove the demo's own folder, and the demo in the database of the settings; say what.

    Raises `CannotRemove`, before anything is removed, where a demo may be a real house.
    """
    has_folder = beside.mark(beside.folder()).exists()
    is_here = _is_here()
    if has_folder:
        _check_folder(beside.folder())
    if is_here:
        _check_here()
    said = []
    if has_folder:
        shutil.rmtree(beside.folder())
        said.append(f"Removed {beside.folder()}")
    if is_here:
        said += _remove_here()
    return said


def _is_here() -> bool:
    """Tell whether the database of the settings has a house that is called like the demo's."""
    name = connection.settings_dict["NAME"]
    if connection.vendor == "sqlite" and not Path(name).exists():
        return False
    try:
        names = connection.introspection.table_names()
    except DatabaseError as error:
        raise CannotRemove(f"The database can't be read: {' '.join(str(error).split())}") from error
    return "accounts_house" in names and not beside.is_needed() and _has_a_house()


def _has_a_house() -> bool:
    return bool(beside.ask_django("SELECT 1 FROM accounts_house"))


def _check_folder(folder: Path) -> None:
    database = folder / DATABASE
    if not database.exists():
        return
    _refuse_in_use(database)
    with closing(sqlite3.connect(database)) as opened:

        def ask(statement: str) -> list[tuple]:
            return opened.execute(statement).fetchall()

        tables = {name for (name,) in ask("SELECT name FROM sqlite_master WHERE type = 'table'")}
        # A demo that was stopped before it began has no house.
        if "accounts_house" in tables and ask("SELECT 1 FROM accounts_user"):
            _refuse(beside.why_not_the_demo(ask), str(folder))


def _check_here() -> None:
    name = str(connection.settings_dict["NAME"])
    _refuse(beside.why_not_the_demo(beside.ask_django), name)
    if connection.vendor == "sqlite":
        connection.close()
        _refuse_in_use(Path(name))


def _refuse(why_not: str | None, where: str) -> None:
    if why_not:
        raise CannotRemove(
            f"{where} may be a real house: {why_not}. It is left alone. If it is only the demo, "
            "delete it yourself."
        )


def _refuse_in_use(database: Path) -> None:
    """Raise `CannotRemove` while another program has the database open.

    Leaving the write-ahead log needs the database alone.
    """
    with closing(sqlite3.connect(database, timeout=1)) as opened:
        try:
            opened.execute("PRAGMA journal_mode=DELETE").fetchall()
        except sqlite3.OperationalError as error:
            raise CannotRemove(f"The demo in {database} is in use: stop it first.") from error


def _remove_here() -> list[str]:
    name = str(connection.settings_dict["NAME"])
    files = [Path(settings.FILES_DIR) / name for name in _names_of_files()]
    backups, logs = _backups(), _logs()
    if connection.vendor == "sqlite":
        connection.close()
        for path in (Path(name), *(Path(f"{name}{end}") for end in BESIDE_SQLITE)):
            path.unlink(missing_ok=True)
        said = [f"Removed {name}"]
    else:
        _drop_tables()
        said = [f"Removed all tables of the demo in the database {name}"]
    for path in files:
        path.unlink(missing_ok=True)
    papers = [path for pattern in PAPERS for path in Path(settings.DOCUMENTS_DIR).glob(pattern)]
    for path in papers:
        path.unlink()
    if files or papers:
        said.append(f"Removed {len(files)} attached files and {len(papers)} papers")
    for path in (*backups, *logs):
        path.unlink(missing_ok=True)
    if backups or logs:
        said.append(f"Removed {len(backups)} backups and {len(logs)} files of the log")
    return said


def _backups() -> list[Path]:
    """Return the backups of the demo in BACKUP_DIR: those that its rows name, and no others.

    Those of a house that was there before are left alone.
    """
    if "keeping_backup" not in connection.introspection.table_names():
        return []
    folder = Path(settings.BACKUP_DIR)
    named = [Path(file) for (file,) in beside.ask_django("SELECT file FROM keeping_backup")]
    return [path for path in named if path.parent == folder and path.is_file()]


def _logs() -> list[Path]:
    """Return the files of the log, where it is in the folder of the data."""
    log = log_files.path()
    if log is None or not log.is_relative_to(settings.DATA_DIR):
        return []
    return sorted(log.parent.glob(f"{log.name}*"))


def _names_of_files() -> Iterator[str]:
    attached = beside.ask_django("SELECT file FROM inventory_attachment")
    logo = beside.ask_django("SELECT logo FROM accounts_house")
    for (name,) in (*attached, *logo):
        # Files are kept without folders.
        if name and Path(name).name == name:
            yield name


def _drop_tables() -> None:
    """Leave an empty database, in which the next start makes its tables."""
    ours = set(connection.introspection.django_table_names(include_views=False))
    names = [
        name
        for name in connection.introspection.table_names()
        if name in ours or name == "django_migrations"
    ]
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE {', '.join(quote(name) for name in names)} CASCADE")
