"""The page on which the owner makes an export and downloads it."""

import io
import zipfile
from contextlib import contextmanager

import pytest
from django.urls import reverse

from apiary_sales.keeping import export_work, exporting
from inventory.shared.models import LongWork
from inventory.shared.services import long_work
from tests import builders

PAGE = reverse("keeping:export")


@pytest.fixture(autouse=True)
def _own_folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path


@pytest.fixture
def _same_connection(monkeypatch):
    """Read within the transaction of the test, which no other connection sees."""

    @contextmanager
    def snapshot():
        yield "default"

    monkeypatch.setattr(exporting, "snapshot", snapshot)


@pytest.fixture
def page(client, owner):
    client.force_login(owner)
    return client


@pytest.mark.usefixtures("_same_connection")
def test_an_export_is_made_and_downloaded(page, owner):
    begun = page.post(reverse("keeping:export_begin"))
    work = LongWork.objects.get()
    export_work.make_export.call(work.pk)

    assert begun.url == reverse("inventory:long_work", args=[work.pk])
    work.refresh_from_db()
    assert (work.state, work.result_url) == (LongWork.State.DONE, PAGE)
    assert work.done == work.total > 0
    assert "The last export" in page.get(PAGE).content.decode()
    answer = page.get(reverse("keeping:export_file"))
    assert answer["Content-Disposition"].startswith('attachment; filename="honey-house-')
    with zipfile.ZipFile(io.BytesIO(answer.getvalue())) as archive:
        assert owner.username in archive.read("tables/accounts/user.csv").decode()
    (kept,) = export_work.folder().iterdir()
    assert kept.stat().st_mode & 0o077 == 0


@pytest.mark.usefixtures("_same_connection")
def test_one_that_is_stopped_leaves_the_last_one_and_no_half_of_another(owner):
    first = export_work.begin(started_by=owner)
    export_work.make_export.call(first.pk)
    (kept,) = export_work.folder().iterdir()
    second = export_work.begin(started_by=owner)
    long_work.ask_to_stop(second)

    export_work.make_export.call(second.pk)

    second.refresh_from_db()
    assert second.state == LongWork.State.STOPPED
    assert list(export_work.folder().iterdir()) == [kept]


def test_two_are_not_made_at_once(page, owner):
    first = export_work.begin(started_by=owner)

    begun = page.post(reverse("keeping:export_begin"))

    assert begun.url == reverse("inventory:long_work", args=[first.pk])
    assert LongWork.objects.count() == 1
    assert "An export is being made." in page.get(PAGE).content.decode()


def test_it_can_be_deleted_here(page):
    export_work.folder().mkdir()
    (export_work.folder() / "honey-house-20261101-120000.zip").write_bytes(b"x")
    (export_work.folder() / "mine.zip").write_bytes(b"y")

    page.post(reverse("keeping:export_delete"))

    assert [path.name for path in export_work.folder().iterdir()] == ["mine.zip"]
    assert page.get(reverse("keeping:export_file")).url == PAGE


@pytest.mark.parametrize("role", ["office", "bottling", "stand"])
def test_only_the_owner_takes_everything_along(client, db, role):
    client.force_login(builders.person(role))

    answers = [
        client.get(PAGE),
        client.get(reverse("keeping:export_file")),
        client.post(reverse("keeping:export_begin")),
        client.post(reverse("keeping:export_delete")),
    ]

    assert [answer.status_code for answer in answers] == [403] * 4
