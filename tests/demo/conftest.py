"""The invented house, loaded once for all tests about it."""

from io import StringIO
from types import SimpleNamespace

import pytest
from django.core.management import call_command
from django.db import transaction
from django.test import override_settings
from django.utils import timezone

from inventory.shared import conventions
from tests.conftest import usual_conventions


@pytest.fixture(scope="package")
def loaded(django_db_setup, django_db_blocker, tmp_path_factory):
    """Run the demo; return what it said. Each test begins from there, and the last undoes it."""
    folder = tmp_path_factory.mktemp("demo")
    out = StringIO()
    conventions.use(usual_conventions())
    with (
        django_db_blocker.unblock(),
        override_settings(
            DOCUMENTS_DIR=folder,
            FILES_DIR=folder / "files",
            PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"],
        ),
        transaction.atomic(),
    ):
        today = timezone.localdate()
        call_command("demo", no_serve=True, stdout=out, stderr=out)
        with django_db_blocker.block():
            yield SimpleNamespace(said=out.getvalue(), today=today)
        transaction.set_rollback(True)


@pytest.fixture(autouse=True)
def _demo(loaded, db):
    """Let every test here begin with the demo."""
