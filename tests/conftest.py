"""Fixtures shared by all tests, which of them run where, and what is told at the end of a run."""

import gc
import os
import sqlite3
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from django.db import connection, connections
from django.test import TransactionTestCase, override_settings
from django.utils import translation

from apiary_sales.keeping import triggers
from inventory.shared import conventions, garbage
from tests import builders, data_layer, postgresql, profiles, serving, timing

# What takes longest, in this order: it begins first, so that nothing of it is left when the others
# are done, and what one of them builds for all of its tests is built by one worker.
FIRST = ("test_postgresql.py", "upgrade", "storms", "demo")

# Keep what is compiled, whatever PYTHONDONTWRITEBYTECODE says: a run starts more than a hundred
# processes, each of which would compile the whole service again.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# Collecting makes very many objects that stay, as starting the service does.
garbage.look_seldom()


@pytest.fixture
def owner(db):
    return builders.person("owner")


@pytest.fixture
def key():
    """Return a maker of idempotency keys that never repeat within a test."""
    return builders.new_key


@pytest.fixture
def without_triggers(db):
    """Let a test change what the database would refuse to, as somebody who drops triggers can."""
    triggers.lift("default")


@pytest.fixture(autouse=True, scope="session")
def _emptied_at_the_end(empty_database, empty_rows):
    """Let tests that commit empty the books at their end, which triggers would refuse.

    SQLite takes the empty database over page by page, and PostgreSQL the rows that it began with:
    a thirtieth of the time that it takes to cut off each table and to make types, rights, groups
    and triggers again.
    """

    def empty(case):
        connection.ensure_connection()
        if connection.vendor == "sqlite":
            with closing(sqlite3.connect(empty_database)) as kept:
                kept.backup(connection.connection)
        else:
            postgresql.bring_back(empty_rows)
            triggers.make("default")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", empty)
        yield


@pytest.fixture(autouse=True)
def _fast_passwords(settings):
    """Hash passwords fast: the strength of the hash is Django's to test."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path_factory):
    """Keep attached files where the run ends, and not beside those of a real house."""
    settings.FILES_DIR = tmp_path_factory.getbasetemp() / "files"


@pytest.fixture(autouse=True)
def _own_language():
    """Leave no language behind: a request in Spanish would set it for the tests that follow."""
    yield
    translation.deactivate()


@pytest.fixture(autouse=True)
def _own_conventions():
    """Begin with the conventions of a new house, which a test without a database can't read."""
    conventions.use(usual_conventions())
    yield
    conventions.use(usual_conventions())


def usual_conventions():
    return conventions.Conventions(
        currency="USD",
        weight_unit="lb",
        language="en",
        decimal_sign=".",
        first_weekday=0,
        prices_include_tax=False,
        smallest_coin_cents=1,
    )


@pytest.fixture
def comma_house(_own_conventions):
    """Write and read numbers with a decimal comma, as a house with DECIMAL_SIGN="," does."""
    with override_settings(DECIMAL_SEPARATOR=",", THOUSAND_SEPARATOR="."):
        conventions.use(replace(usual_conventions(), decimal_sign=","))
        conventions.current()
        yield


@pytest.fixture(scope="session")
def empty_database(tmp_path_factory) -> Path:
    """Where SQLite's database, empty as it was made for this run, is kept to be copied."""
    return tmp_path_factory.mktemp("empty-database") / "honey.sqlite3"


@pytest.fixture(scope="session")
def empty_rows() -> dict[str, bytes]:
    """What is in the tables of PostgreSQL's database, empty as it was made for this run."""
    return {}


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings, tmp_path_factory):
    """Keep SQLite's test database in a file, as in real life.

    In memory all threads of the live server would share one connection, and closing it from a
    thread that ends late is an error.
    """
    if connection.vendor == "sqlite":
        database = tmp_path_factory.mktemp("database") / "test.sqlite3"
        connection.settings_dict["TEST"]["NAME"] = str(database)


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker, empty_database, empty_rows):
    """Keep the empty database, and leave no connection behind."""
    if connection.vendor == "sqlite":
        serving.copy_database(Path(connection.settings_dict["NAME"]), empty_database)
    else:
        with django_db_blocker.unblock():
            empty_rows.update(postgresql.rows())
    yield
    with django_db_blocker.unblock():
        connections.close_all()


def pytest_ignore_collect(collection_path, config):
    """Leave unread what has no test of the data, where they alone are asked for."""
    if config.option.markexpr == data_layer.MARK and data_layer.has_none(collection_path):
        return True
    return None


def pytest_collection_modifyitems(config, items):
    """Mark the tests of the data, and leave those of rival writers to the run on PostgreSQL.

    SQLite has one writer at a time.
    """
    data_layer.mark(items)
    items.sort(key=_place_in_line)
    if connection.vendor == "postgresql":
        return
    rivals = [item for item in items if item.get_closest_marker("postgresql")]
    if rivals:
        config.hook.pytest_deselected(items=rivals)
        items[:] = [item for item in items if item not in rivals]


def _place_in_line(item) -> int:
    """Return when a test begins: those of the same number in the order of their files."""
    folder = item.path.relative_to(data_layer.TESTS).parts[0]
    return FIRST.index(folder) if folder in FIRST else len(FIRST)


def pytest_runtest_setup(item):
    """Let Hypothesis get ready before the first test that it draws for, and not within it."""
    if item.get_closest_marker("hypothesis"):
        profiles.draw_once()


def pytest_collection_finish():
    """Look no more for garbage among the collected tests: that takes a tenth of a run."""
    gc.collect()
    gc.freeze()


def pytest_xdist_auto_num_workers(config):
    """Run single files in this process: starting more takes longer than the tests in them."""
    if all(".py" in argument for argument in config.args):
        return 0
    return None


def pytest_terminal_summary(terminalreporter):
    timing.show(terminalreporter)
