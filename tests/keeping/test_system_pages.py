"""The owner sees how safe the data is and how the service is doing; a monitor, whether it works."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from time import monotonic, sleep

import pytest
from django.core.cache import cache
from django.db import DatabaseError, connection, connections
from django.urls import reverse
from django.utils import timezone

from apiary_sales.accounts.models import User
from apiary_sales.keeping.models import Backup
from apiary_sales.keeping.queries import system
from apiary_sales.keeping.services import backups, by_hand, health, nightly
from apiary_sales.web import background
from apiary_sales.web.health import show as show_health
from inventory.shared.models import LongWork
from tests import builders

pytestmark = pytest.mark.django_db

LATE = "The last good backup is of"
NONE_YET = "There is no good backup yet."


@pytest.fixture
def signed_in_owner(client):
    client.force_login(builders.person("owner"))
    return client


def kept(hours: float = 1, **fields) -> Backup:
    """Return a backup that was made so many hours ago, and rehearsed."""
    at = timezone.now() - timedelta(hours=hours)
    values = {"kind": "nightly", "made_at": at, "finished_at": at, "ok": True, "file": "/no/file"}
    return Backup.objects.create(
        **{**values, "size_bytes": 1_500_000, "rehearsed_at": at, "rehearsal_ok": True, **fields}
    )


def today(client) -> str:
    return client.get(reverse("web:today")).content.decode()


def house_began(days: int) -> None:
    User.objects.update(date_joined=timezone.now() - timedelta(days=days))


def test_today_warns_the_owner_when_no_good_backup_is_two_days_old_or_younger(signed_in_owner):
    house_began(10)
    assert NONE_YET in today(signed_in_owner)

    made = kept(hours=47)
    assert LATE not in today(signed_in_owner)

    Backup.objects.filter(pk=made.pk).update(made_at=timezone.now() - timedelta(hours=49))
    assert LATE in today(signed_in_owner)


def test_a_house_of_today_is_not_warned(signed_in_owner):
    assert NONE_YET not in today(signed_in_owner)


def test_today_says_why_the_last_backup_failed(signed_in_owner):
    kept(hours=20)
    kept(hours=1, ok=False, rehearsal_ok=None, message="The disk is full.")

    assert "The last backup failed.\n      The disk is full." in today(signed_in_owner)


def test_a_backup_whose_rehearsal_failed_is_no_good_one(signed_in_owner):
    house_began(10)
    kept(hours=1, rehearsal_ok=False, message="The books in this backup could not be proved: 3.")

    page = today(signed_in_owner)

    assert NONE_YET in page
    assert "The last backup did not pass the rehearsal of a restore." in page


def test_only_who_keeps_the_house_is_warned(client):
    client.force_login(builders.person("office"))
    house_began(10)

    assert NONE_YET not in today(client)


def test_the_page_of_backups_lists_them_and_gives_the_file(signed_in_owner, tmp_path):
    file = tmp_path / "honey-20261127T080000Z.tar.gz"
    file.write_bytes(b"a backup")
    made = kept(file=str(file))

    page = signed_in_owner.get(reverse("keeping:backups")).content.decode()
    answer = signed_in_owner.get(reverse("keeping:backup_file", args=[made.pk]))

    assert "whole, restore rehearsed" in page
    assert b"".join(answer.streaming_content) == b"a backup"
    assert answer.headers["Content-Disposition"] == f'attachment; filename="{file.name}"'
    answer.close()


def test_a_file_that_is_gone_is_said_to_be(signed_in_owner):
    answer = signed_in_owner.get(reverse("keeping:backup_file", args=[kept().pk]))

    assert answer.status_code == 404
    assert "This file is no longer on this machine" in answer.content.decode()


def test_back_up_now_shows_its_progress_and_ends_with_a_rehearsed_file(
    signed_in_owner, own_database, proved_at_once
):
    owner = builders.person("owner")

    work = by_hand.ask_for(started_by=owner)
    again = by_hand.ask_for(started_by=owner)
    by_hand.back_up.call(work.pk)

    work.refresh_from_db()
    assert again == work
    [made] = Backup.objects.all()
    assert (work.state, work.percent) == (LongWork.State.DONE, 100)
    assert work.message == f"Backed up to {Path(made.file).name}. A restore was rehearsed."
    assert (made.kind, made.rehearsal_ok) == ("by_hand", True)


def test_a_backup_by_hand_that_fails_says_why(own_database, settings, tmp_path):
    settings.BACKUP_DIR = tmp_path / "a file"
    settings.BACKUP_DIR.write_text("")
    work = by_hand.ask_for(started_by=builders.person("owner"))

    by_hand.back_up.call(work.pk)

    work.refresh_from_db()
    assert work.state == LongWork.State.FAILED
    assert work.message.startswith("The file could not be written:")


def test_the_button_leads_to_the_progress(signed_in_owner):
    answer = signed_in_owner.post(reverse("keeping:back_up_now"))

    [work] = LongWork.objects.all()
    assert answer.headers["Location"] == reverse("inventory:long_work", args=[work.pk])


def test_the_page_of_the_system_says_what_there_is(signed_in_owner):
    page = signed_in_owner.get(reverse("keeping:system"))

    text = page.content.decode()
    for word in ("Django 5.2", "America/Chicago", "0 tasks wait"):
        assert word in text
    assert page.context["system"].database_size > 0
    assert page.context["system"].is_worker_missing is False


def test_a_task_that_nobody_does_is_told(signed_in_owner):
    by_hand.ask_for(started_by=builders.person("owner"))
    LongWork.objects.all().delete()
    queued = system.DBTaskResult.objects.get()
    system.DBTaskResult.objects.filter(pk=queued.pk).update(
        enqueued_at=timezone.now() - timedelta(minutes=11)
    )

    page = signed_in_owner.get(reverse("keeping:system")).content.decode()

    assert "Background work has waited since" in page


def test_one_nightly_backup_waits_at_any_time():
    first = nightly.queue_nightly()
    second = nightly.queue_nightly()

    assert nightly.queue_nightly in background.AT_START
    assert (first, second) == (1, 0)


def test_a_night_that_was_interrupted_is_begun_again(own_database):
    night = timezone.localdate()
    first = backups.claim(night=night)
    assert backups.claim(night=night) is None

    Backup.objects.update(made_at=timezone.now() - timedelta(hours=4))

    assert backups.claim(night=night) == first
    assert backups.claim(night=night) is None


def test_a_monitor_hears_ok_and_no_more(client):
    cache.clear()

    answer = client.get("/health/")

    assert (answer.status_code, answer.content) == (200, b"ok\n")


def test_a_monitor_hears_when_the_database_takes_no_write(client, monkeypatch):
    cache.clear()
    monkeypatch.setattr(health.transaction, "atomic", _refuse)

    answer = client.get("/health/")

    cache.clear()
    assert (answer.status_code, answer.content) == (503, b"degraded\n")


def test_a_monitor_hears_soon_that_another_holds_the_database(client, own_database):
    cache.clear()
    other = connections["default"].copy()
    holding = "BEGIN IMMEDIATE"
    if other.vendor == "postgresql":
        holding = "BEGIN; LOCK TABLE keeping_backup"
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    with other.cursor() as cursor:
        cursor.execute(holding)
        begun = monotonic()

        answer = client.get("/health/")

        took = monotonic() - begun
        cursor.execute("ROLLBACK")
    other.close()
    cache.clear()
    assert answer.status_code == 503
    assert took < 5
    if connection.vendor == "sqlite":
        # People's acts wait as long as before.
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout")
            assert cursor.fetchone() == (20_000,)


def test_many_who_ask_at_once_are_answered_by_one_probe(monkeypatch, rf):
    cache.clear()
    probes = []

    def slow():
        probes.append("probe")
        sleep(0.2)
        return True

    monkeypatch.setattr(health, "is_well", slow)

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(lambda _: show_health(rf.get("/health/")).status_code, range(4)))

    cache.clear()
    assert answers == [200] * 4
    assert probes == ["probe"]


def _refuse():
    raise DatabaseError("attempt to write a readonly database")


def test_a_database_that_can_only_be_read_is_not_well(own_database):
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA query_only = ON")
        else:
            cursor.execute("SET default_transaction_read_only = on")

    assert health.is_well() is False
