"""What is said where the disk is full, the database is away, or something else goes wrong."""

import errno
import json
import sqlite3
from contextlib import closing
from itertools import count

import pytest
from django.db import InterfaceError, OperationalError, connection, connections
from django.test import Client
from django.urls import reverse

from apiary_sales.accounts import middleware
from apiary_sales.accounts.services import sessions
from apiary_sales.accounts.session_store import SessionStore
from inventory.shared import conventions
from inventory.shared.database_faults import is_disk_full, is_unreachable
from inventory.stock.models import Posting
from inventory.stock.services import honey
from tests import builders

NOTHING = "Nothing of what you just sent was recorded"


def visitor() -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(builders.person())
    return client


def form() -> dict[str, object]:
    return {
        "key": "k",
        "place": "tank-1",
        "floral_source": "Clover",
        "yard": "Mill field",
        "season": "2026",
        "extracted_on": "2026-07-20",
        "moisture": "17.4",
        "measured_by": "scale",
        "weight": "1000",
        "weight_unit": "lb",
        "note": "Frames of the upper boxes. " * 4,
    }


def receive_by_form(client: Client, key: str = "k"):
    return client.post(reverse("inventory:receive"), form() | {"key": key})


def receive_by_api(key: str = "a"):
    body = {
        "place": "tank-1",
        "grams": 1_000,
        "season": 2026,
        "floral_source": "Clover",
        "extracted_on": "2026-07-20",
        "moisture_percent": "17.4",
    }
    return Client(raise_request_exception=False).post(
        "/api/v1/extractions/",
        json.dumps(body),
        content_type="application/json",
        headers={"Authorization": builders.authorization(), "Idempotency-Key": key},
    )


def problem(answer) -> dict:
    assert answer["Content-Type"] == "application/problem+json"
    return answer.json()


def failing(error):
    def fail(*_arguments, **_named):
        raise error

    return fail


def fill_the_disk() -> int:
    """Let SQLite find no room for one page more, and return how many it may have usually."""
    with connection.cursor() as cursor:
        usual = cursor.execute("PRAGMA max_page_count").fetchone()[0]
        there = cursor.execute("PRAGMA page_count").fetchone()[0]
        cursor.execute(f"PRAGMA max_page_count={there}")
        # What is free within the file is used up first.
        while cursor.execute("PRAGMA freelist_count").fetchone()[0]:
            cursor.execute("CREATE TABLE IF NOT EXISTS filling (stuff BLOB)")
            cursor.execute("INSERT INTO filling VALUES (zeroblob(3000))")
    return usual


@pytest.mark.skipif("connection.vendor != 'sqlite'")
@pytest.mark.django_db(transaction=True)
def test_a_full_disk_is_told_and_once_there_is_room_the_same_form_is_recorded():
    builders.place("tank-1")
    client = visitor()
    builders.authorization()
    usual = fill_the_disk()
    try:
        # An act of one row finds room in a page that is there: enter until none is left.
        receive = [receive_by_form(client)]
        while receive[-1].status_code == 302:
            receive.append(receive_by_form(client, str(len(receive))))
        by_form = Posting.objects.count()
        # The rows of the API are smaller: some may find room yet.
        keys = (f"a{number}" for number in count())
        by_api = next(each for each in map(receive_by_api, keys) if each.status_code != 201)
        recorded = Posting.objects.count()
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA max_page_count={usual}")
            cursor.execute("DROP TABLE IF EXISTS filling")
    last = receive[-1]
    assert last.status_code == 507
    assert NOTHING in last.content.decode()
    assert by_form == len(receive) - 1
    assert by_api.status_code == 507
    assert Posting.objects.count() == recorded
    said = problem(by_api)
    assert (said["code"], said["title"]) == ("disk_full", "Insufficient Storage")
    assert said["detail"].startswith("Nothing was recorded: the disk of the service is full.")

    key = "k" if len(receive) == 1 else str(len(receive) - 1)
    assert receive_by_form(client, key).status_code == 302
    assert receive_by_api().status_code == 201
    assert Posting.objects.count() == recorded + 2


@pytest.mark.django_db
@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT])
def test_a_file_that_finds_no_room_is_told_alike(monkeypatch, number):
    builders.place("tank-1")
    monkeypatch.setattr(honey, "receive", failing(OSError(number, "no room")))

    assert receive_by_form(visitor()).status_code == 507
    assert problem(receive_by_api())["code"] == "disk_full"


@pytest.mark.django_db
def test_a_database_that_is_away_is_told_before_any_view_and_in_it(monkeypatch):
    builders.place("tank-1")
    client = visitor()
    monkeypatch.setattr(honey, "receive", failing(OperationalError("server at 10.0.0.1 is gone")))
    in_view = receive_by_form(client)
    monkeypatch.setattr(conventions, "read_again", failing(InterfaceError("closed")))
    before = client.get("/")

    for answer in (in_view, before):
        assert answer.status_code == 503
        assert "The books can't be reached just now" in answer.content.decode()
        assert b"10.0.0.1" not in answer.content
        assert int(answer["Retry-After"]) > 0


@pytest.mark.data_layer
@pytest.mark.skipif("connection.vendor != 'postgresql'")
@pytest.mark.django_db(transaction=True)
def test_a_connection_that_the_server_ends_is_told_and_the_form_is_recorded_later(monkeypatch):
    builders.place("tank-1")
    client = visitor()
    receive = honey.receive

    def receive_and_lose(**named):
        made = receive(**named)
        with closing(connections.create_connection("default")) as other:
            other.cursor().execute(
                "SELECT pg_terminate_backend(%s)", [connection.connection.info.backend_pid]
            )
        return made

    with monkeypatch.context() as patched:
        patched.setattr(honey, "receive", receive_and_lose)
        lost = receive_by_form(client)
    connection.close()

    assert lost.status_code == 503
    assert not Posting.objects.exists()
    assert receive_by_form(client).status_code == 302


@pytest.mark.django_db
def test_a_mistake_in_a_statement_is_our_mistake(monkeypatch):
    builders.place("tank-1")

    def ask(*_arguments, **_named):
        with connection.cursor() as cursor:
            cursor.execute("SELECT no_such_column")

    monkeypatch.setattr(honey, "receive", ask)

    by_form = receive_by_form(visitor())

    assert by_form.status_code == 500
    assert "This is our mistake, not yours." in by_form.content.decode()
    assert problem(receive_by_api())["code"] == "server_error"


def test_what_is_full_and_what_is_away_are_told_apart():
    class DiskFull(Exception):
        sqlstate = "53100"

    full = OperationalError("could not extend file")
    full.__cause__ = DiskFull()
    hidden = RuntimeError("while undoing it")
    hidden.__context__ = full

    assert is_disk_full(full)
    assert is_disk_full(hidden)
    assert not is_disk_full(OSError(errno.EACCES, "not yours"))
    assert not is_disk_full(None)
    assert is_unreachable(OperationalError("gone"))
    assert not is_unreachable(sqlite3.OperationalError("not one of Django's"))
    assert not is_unreachable(None)


@pytest.mark.django_db
@pytest.mark.parametrize("error", [OperationalError("gone"), InterfaceError("closed")])
def test_an_act_is_answered_although_nothing_can_be_saved_behind_it(monkeypatch, error):
    builders.place("tank-1")
    client = visitor()
    monkeypatch.setattr(SessionStore, "save", failing(error))
    monkeypatch.setattr(middleware, "_is_to_be_noted", lambda row: True)
    monkeypatch.setattr(sessions, "note_seen", failing(error))

    answer = receive_by_form(client)

    assert answer.status_code == 302
    assert Posting.objects.count() == 1
