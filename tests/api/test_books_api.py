"""The chart of accounts and the closing of the books through the API."""

from datetime import timedelta
from itertools import count

import pytest

from inventory.shared.models import BooksLock
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def send(client):
    keys = (f"sent-{number}" for number in count())

    def make(path, body, *, role="owner", key=None):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{path}",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": key or next(keys)},
        )

    return make


def day(days_ago):
    return (builders.today() - timedelta(days=days_ago)).isoformat()


def fields(answer, status=422):
    assert answer.status_code == status, answer.content
    return [error["field"] for error in answer.json()["errors"]]


def test_the_books_are_closed_and_opened_again(send):
    closed = send("books/close/", {"until": day(3), "note": "Sent to the accountant"})
    opened = send("books/open-again/", {"until": day(5), "reason": "A bill came late"})

    assert (closed.status_code, opened.status_code) == (201, 201)
    assert closed.json()["locked_until"] == day(3)
    assert closed.json()["note"] == "Sent to the accountant"
    assert opened.json()["locked_until"] == day(5)
    assert [str(lock) for lock in BooksLock.objects.all()] == [day(5), day(3)]


def test_the_same_key_closes_the_books_once(send):
    first, again = (send("books/close/", {"until": day(3)}, key="close") for _time in range(2))

    assert (first.status_code, again.status_code) == (201, 201)
    assert BooksLock.objects.count() == 1


def test_what_is_wrong_with_a_closing_is_named_and_changes_nothing(send):
    assert fields(send("books/close/", {"until": day(0)})) == ["until"]
    assert fields(send("books/close/", {}), 400) == ["until"]
    assert fields(send("books/open-again/", {"reason": "Late"})) == ["until"]
    assert fields(send("books/open-again/", {}), 400) == ["reason"]
    assert not BooksLock.objects.exists()


@pytest.mark.parametrize("role", ["office", "bottling", "stand"])
def test_only_the_owner_closes_the_books(send, role):
    answer = send("books/close/", {"until": day(3)}, role=role)

    assert answer.status_code == 403
    assert not BooksLock.objects.exists()


def test_an_account_gets_another_number_and_name(send, client):
    [first, *_others] = client_accounts(client)

    changed = send(f"accounts/{first['key']}/", {"number": "1001", "name": "Till"})

    assert changed.status_code == 200, changed.content
    assert (changed.json()["number"], changed.json()["name"]) == ("1001", "Till")
    assert changed.json() in client_accounts(client)


def test_two_accounts_cannot_have_one_number(send, client):
    [first, second, *_others] = client_accounts(client)

    answer = send(f"accounts/{second['key']}/", {"number": first["number"], "name": "Second"})

    assert fields(answer) == ["number"]
    assert second in client_accounts(client)


def test_an_account_that_is_not_there_is_not_found(send):
    assert send("accounts/nothing/", {"number": "1", "name": "A"}).status_code == 404


def client_accounts(client):
    client.force_login(builders.person("owner"))
    return client.get("/api/v1/accounts/").json()
