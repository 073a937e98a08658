"""The work of the night: what it does beside the backup, and who is told where it failed."""

from datetime import timedelta
from unittest.mock import Mock

import pytest
from django.db import DatabaseError, connection
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from apiary_sales.keeping import statistics, tidying
from apiary_sales.keeping.rules import nights
from apiary_sales.keeping.services import nightly
from tests import builders

pytestmark = pytest.mark.django_db
TOLD = "Some of the work of the night of"


@pytest.fixture
def no_backup(monkeypatch):
    made = Mock(return_value="made and rehearsed")
    monkeypatch.setattr(nightly, "make_nightly", made)
    return made


def finished(status: str, *, days_ago: int = 0) -> None:
    at = timezone.now() - timedelta(days=days_ago)
    DBTaskResult.objects.create(
        task_path=nights.TASK,
        status=status,
        finished_at=at,
        args_kwargs={"args": [], "kwargs": {}},
        run_after=at,
        backend_name="default",
        exception_class_path="",
        traceback="",
    )


def test_the_task_of_the_night_is_the_one_that_the_first_page_asks_for():
    assert nightly.back_up_tonight.module_path == nights.TASK


def test_the_database_counts_its_tables(owner):
    statistics.refresh()

    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT stat FROM sqlite_stat1 WHERE tbl = 'accounts_user'")
        else:
            cursor.execute("SELECT reltuples FROM pg_class WHERE relname = 'accounts_user'")
        # One person: in SQLite the first word, then how many share a key.
        assert {float(str(row[0]).split()[0]) for row in cursor.fetchall()} == {1}


def test_the_work_of_the_night_deletes_counts_and_backs_up(monkeypatch, no_backup):
    tidied, counted = Mock(), Mock()
    tidied.return_value = []
    monkeypatch.setattr(tidying, "tidy_all", tidied)
    monkeypatch.setattr(statistics, "refresh", counted)

    assert nightly.back_up_tonight.func() == "made and rehearsed"

    assert (tidied.call_count, counted.call_count, no_backup.call_count) == (1, 1, 1)


def test_what_fails_at_night_stops_nothing_else_and_is_named(monkeypatch, no_backup):
    def fail():
        raise DatabaseError("the disk is gone")

    monkeypatch.setattr(tidying, "_tidies", [fail, Mock()])
    monkeypatch.setattr(statistics, "refresh", fail)

    with pytest.raises(nightly.NightlyWorkFailed, match=r"fail, statistics\Z"):
        nightly.back_up_tonight.func()

    assert tidying._tidies[1].call_count == 1
    assert no_backup.call_count == 1
    waiting = DBTaskResult.objects.get(task_path=nights.TASK, status=TaskResultStatus.READY)
    assert waiting.run_after > timezone.now()


def test_the_owner_is_told_until_a_night_goes_well(client, owner):
    client.force_login(owner)
    finished(TaskResultStatus.SUCCESSFUL, days_ago=2)
    assert TOLD not in client.get("/").content.decode()

    finished(TaskResultStatus.FAILED, days_ago=1)
    assert TOLD in client.get("/").content.decode()
    client.force_login(builders.person("stand"))
    assert TOLD not in client.get("/").content.decode()

    finished(TaskResultStatus.SUCCESSFUL)
    client.force_login(owner)
    assert TOLD not in client.get("/").content.decode()
