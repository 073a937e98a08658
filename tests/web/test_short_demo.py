"""The short demo, on either kind of database: the whole one takes too long on PostgreSQL."""

from io import StringIO

import pytest
from django.core.management import call_command


@pytest.mark.data_layer
@pytest.mark.django_db
def test_the_short_demo_ends_with_books_that_are_right(settings, tmp_path):
    settings.DOCUMENTS_DIR = tmp_path
    settings.FILES_DIR = tmp_path / "files"
    out = StringIO()

    call_command("demo", short=True, no_serve=True, stdout=out)

    assert "The books are right: " in out.getvalue()
