"""A database of the test's own: backups see what is committed, and a restore replaces all of it."""

import contextlib
from subprocess import CompletedProcess

import pytest
from django.db import connections

from apiary_sales.keeping import beside
from tests import serving
from tests.keeping.whole_house import empty_house, full_house  # noqa: F401


@pytest.fixture
def own_database(db, empty_database, settings, tmp_path):
    """Use an empty database of this test alone, in a folder of its own, on either kind."""
    settings.DATA_DIR = tmp_path / "data"
    settings.FILES_DIR = settings.DATA_DIR / "files"
    settings.BACKUP_DIR = settings.DATA_DIR / "backups"
    settings.BACKUP_PASSPHRASE = ""
    settings.FILES_DIR.mkdir(parents=True)
    shared = connections["default"]
    with contextlib.ExitStack() as at_end:
        if shared.vendor == "sqlite":
            name = str(settings.DATA_DIR / "honey.sqlite3")
            serving.copy_database(empty_database, settings.DATA_DIR / "honey.sqlite3")
        else:
            name = at_end.enter_context(_on_the_server(shared))
        own = connections.create_connection("default")
        own.settings_dict = {**shared.settings_dict, "NAME": name}
        connections["default"] = own
        try:
            yield name
        finally:
            own.close()
            connections["default"] = shared


@pytest.fixture
def proved_at_once(monkeypatch):
    """Take the books of a backup for right, in tests of what comes after their proof."""
    right = CompletedProcess([], 0, stdout="", stderr="")
    monkeypatch.setattr(beside, "run", lambda *_: right)


@contextlib.contextmanager
def _on_the_server(shared):
    """Make a database on the server of the tests, and drop all that came of it."""
    import psycopg

    values = shared.get_connection_params()
    wanted = {name: values[name] for name in ("host", "port", "user") if values.get(name)}
    name = f"{shared.settings_dict['NAME']}_own"
    with psycopg.connect(**wanted, dbname="postgres", autocommit=True) as server:
        server.execute(f'CREATE DATABASE "{name}" TEMPLATE template1')
        try:
            yield name
        finally:
            connections.close_all()
            found = server.execute(
                "SELECT datname FROM pg_database WHERE starts_with(datname, %s)", [name]
            )
            for (left,) in found.fetchall():
                server.execute(f'DROP DATABASE "{left}"')
