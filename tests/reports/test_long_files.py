"""A file of a report is long work where the books are large."""

import pytest
from django.urls import reverse

from apiary_sales.reports import long_files
from inventory.shared.models import LongWork
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client, settings, tmp_path):
    settings.TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    settings.FILES_DIR = tmp_path
    builders.lot_in(builders.place("tank-1"))
    client.force_login(builders.person("office"))
    return client


def test_only_large_books_ask_for_long_work(office, monkeypatch):
    page = reverse("reports:report", args=["stock-value"])
    small = office.get(page).text
    monkeypatch.setattr(long_files, "LINES_AT_ONCE", -1)
    large = office.get(page).text

    assert ("Download XLSX" in small, "Make the XLSX file" in small) == (True, False)
    assert ("Download XLSX" in large, "Make the XLSX file" in large) == (False, True)


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_the_file_is_the_one_that_is_written_at_once(
    office, ending, django_capture_on_commit_callbacks
):
    begin = reverse("reports:report_long_file", args=["stock-value", ending])
    now = reverse(f"reports:report_{ending}", args=["stock-value"])
    at_once = office.get(f"{now}?on=2030-01-01")

    with django_capture_on_commit_callbacks(execute=True):
        office.post(f"{begin}?on=2030-01-01")
    work = LongWork.objects.get()
    file = office.get(work.result_url)

    assert (work.state, work.done, work.message) == ("done", 3, "")
    assert file["Content-Disposition"].startswith("attachment")
    # A workbook says when it was written, so that two are alike but for that.
    if ending == "csv":
        assert file.content == at_once.getvalue()
    else:
        assert file.content[:2] == b"PK"
