"""Fixtures shared by all tests."""

import pytest

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
