"""Fixtures shared by all tests."""

import pytest
from django.db import connection, connections
from django.utils import translation

from tests import builders


@pytest.fixture
def owner(db):
    return builders.person("owner")


@pytest.fixture
def key():
    """Return a maker of idempotency keys that never repeat within a test."""
    return builders.new_key


@pytest.fixture(autouse=True)
def _fast_passwords(settings):
    """Hash passwords fast: the strength of the hash is Django's to test."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def _own_language():
    """Leave no language behind: a request in Spanish would set it for the tests that follow."""
    yield
    translation.deactivate()


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings, tmp_path_factory):
    """Keep SQLite's test database in a file, as in real life.

    In memory all threads of the live server would share one connection, and closing it from a
    thread that ends late is an error.
    """
    for handler in connections.all():
        if handler.vendor == "sqlite":
            name = tmp_path_factory.mktemp("database") / "test.sqlite3"
            handler.settings_dict["TEST"]["NAME"] = str(name)


def pytest_collection_modifyitems(config, items):
    """Leave tests of rival writers to the run on PostgreSQL: SQLite has one writer at a time."""
    if connection.vendor == "postgresql":
        return
    rivals = [item for item in items if item.get_closest_marker("postgresql")]
    if rivals:
        config.hook.pytest_deselected(items=rivals)
        items[:] = [item for item in items if item not in rivals]
