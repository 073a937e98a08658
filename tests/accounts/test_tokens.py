"""Keys of programs: only their hash is kept, they end, and they do no more than they are for."""

import hashlib
import json
from datetime import timedelta
from importlib import import_module
from types import SimpleNamespace

import pytest
import time_machine
from django.apps import apps
from django.db import connection
from django.utils import timezone

from apiary_sales.accounts.models import ApiToken
from apiary_sales.accounts.services import people, tokens
from inventory.shared.errors import BadValue, NotAllowedNow, SeveralProblems
from inventory.stock.models import Place
from tests import builders

pytestmark = pytest.mark.django_db

PLACES = "/api/v1/places/"


@pytest.fixture
def bram(db):
    return builders.person("bottling")


def made(person, scopes="read write", days=30, name="Scale"):
    return tokens.make(person=person, name=name, scopes=scopes, days=days)


def ask(client, text, path=PLACES, body=None):
    headers = {"Authorization": f"Token {text}", "Idempotency-Key": builders.new_key()}
    if body is None:
        return client.get(path, headers=headers)
    return client.post(path, json.dumps(body), content_type="application/json", headers=headers)


def asked_with_password(client, **body):
    return client.post("/api/v1/token/", json.dumps(body), content_type="application/json")


def test_a_name_and_a_password_give_a_key_that_works_for_90_days(client, bram):
    given = asked_with_password(client, username="bottling", password="bottling").json()

    assert ask(client, given["token"]).status_code == 200
    assert (given["name"], given["scopes"]) == ("Program", "read write")
    with time_machine.travel(timezone.now() + timedelta(days=90, seconds=1)):
        assert ask(client, given["token"]).status_code == 401


def test_what_the_key_is_for_may_be_said(client, bram):
    given = asked_with_password(
        client, username="bottling", password="bottling", name="Scale", scopes="read", days=7
    ).json()

    [listed] = ask(client, given["token"], "/api/v1/tokens/").json()["results"]
    assert (listed["name"], listed["scopes"], listed["person"]) == ("Scale", "read", "Bottling")
    assert listed["last_used_on"] == timezone.localdate().isoformat()
    assert "token" not in listed


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"password": "wrong"}, "password"),
        ({"username": "nobody"}, "password"),
        ({"days": 366}, "days"),
        ({"days": 0}, "days"),
        ({"scopes": "all"}, "scopes"),
        ({"name": ""}, "name"),
    ],
)
def test_no_key_is_given_for_what_is_wrong(client, bram, body, field):
    refused = asked_with_password(client, **{"username": "bottling", "password": "bottling"} | body)

    assert refused.status_code == 400
    assert [error["field"] for error in refused.json()["errors"]] == [field]
    assert ApiToken.objects.count() == 0


def test_the_database_holds_a_hash_and_not_the_key(client, bram):
    _token, text = made(bram)

    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM accounts_apitoken")
        kept = " ".join(map(str, cursor.fetchone()))
    assert hashlib.sha512(text.encode()).hexdigest() in kept
    assert text not in kept
    # What finds the row tells less than a quarter of the key.
    assert text[:16] not in kept


def test_a_key_for_reading_records_nothing(client, bram):
    builders.lot_in(builders.place("tank-1"))
    builders.place("tank-2")
    body = {"source": "tank-1", "target": "tank-2", "grams": 1000}

    refused = ask(client, made(bram, "read")[1], "/api/v1/transfers/", body)
    allowed = ask(client, made(bram)[1], "/api/v1/transfers/", body)

    assert (refused.status_code, allowed.status_code) == (403, 201)
    assert "reading only" in refused.json()["detail"]


def test_a_key_for_the_stand_sells_and_reads_what_there_is_to_sell(client):
    text = made(builders.person("owner"), "sell")[1]
    builders.place("stand", Place.Kind.STAND)

    sale = ask(client, text, "/api/v1/stand-sales/", {"place": "stand"})

    # Looked at, and refused for what is missing in it.
    assert sale.status_code == 400
    assert ask(client, text).status_code == 200
    assert ask(client, text, "/api/v1/invoices/").status_code == 403
    assert ask(client, text, "/api/v1/lots/").status_code == 403
    assert ask(client, text, "/api/v1/transfers/", {}).status_code == 403


def test_a_key_may_no_more_than_its_person(client):
    text = made(builders.person("stand"))[1]

    assert ask(client, text, "/api/v1/invoices/").status_code == 403


@pytest.mark.parametrize("text", ["0" * 64, "x", "ÿ", "a\tb", "", "a b"])
def test_what_is_no_key_is_refused(client, bram, text):
    made(bram)

    assert ask(client, text).status_code == 401


def test_a_revoked_key_ends_at_once_and_others_go_on(client, bram):
    lost, text = made(bram)
    other = made(bram)[1]

    answer = ask(client, other, f"/api/v1/tokens/{lost.pk}/revoke/", {})

    assert answer.status_code == 204
    assert ask(client, text).status_code == 401
    assert ask(client, other).status_code == 200


def test_only_the_owner_sees_and_revokes_the_keys_of_others(client, bram):
    token, _text = made(bram)
    stand, owner = made(builders.person("stand"))[1], made(builders.person("owner"))[1]
    revoke = f"/api/v1/tokens/{token.pk}/revoke/"

    assert len(ask(client, stand, "/api/v1/tokens/").json()["results"]) == 1
    assert ask(client, stand, revoke, {}).status_code == 404
    assert len(ask(client, owner, "/api/v1/tokens/").json()["results"]) == 3
    assert ask(client, owner, revoke, {}).status_code == 204


@pytest.mark.parametrize(
    "act",
    [
        lambda person: people.reset_password(person=person, password="another-clover"),
        lambda person: people.change_role(person=person, role="stand"),
        lambda person: people.switch_off(person=person),
    ],
    ids=["new password", "another role", "switched off"],
)
def test_keys_and_sign_ins_end_for_good(client, bram, act):
    text = made(bram)[1]
    client.force_login(bram)

    act(bram)
    people.switch_on(person=bram)

    assert ask(client, text).status_code == 401
    assert client.get("/account/").status_code == 302


@pytest.mark.parametrize(
    ("wrong", "parameter"),
    [
        ({"name": " "}, "name"),
        ({"name": "x" * 81}, "name"),
        ({"days": 366}, "days"),
        ({"days": 0}, "days"),
        ({"scopes": "write"}, "scopes"),
    ],
)
def test_a_key_is_named_scoped_and_ends_within_a_year(bram, wrong, parameter):
    with pytest.raises((BadValue, SeveralProblems)) as refused:
        tokens.make(**{"person": bram, "name": "Scale", "scopes": "read", "days": 365} | wrong)

    assert refused.value.parameter == parameter


def test_nobody_has_keys_without_end(bram, monkeypatch):
    monkeypatch.setattr("apiary_sales.accounts.rules.TOKENS_MAX", 2)
    made(bram)
    made(bram)

    with pytest.raises(NotAllowedNow):
        made(bram)


def test_keys_that_ended_are_cleared(bram):
    made(bram, days=1)
    kept, _text = made(bram, days=3)

    with time_machine.travel(timezone.now() + timedelta(days=2)):
        assert tokens.clear_expired() == 1
    assert list(ApiToken.objects.all()) == [kept]


def test_keys_of_earlier_versions_work_on_for_90_days_as_hashes(client, bram):
    migration = import_module("apiary_sales.accounts.migrations.0007_tokens_and_sessions")
    key = "0123456789abcdef" * 2 + "01234567"
    editor = SimpleNamespace(connection=connection)
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE authtoken_token (key varchar(40), user_id bigint)")
        cursor.execute("INSERT INTO authtoken_token VALUES (%s, %s)", [key, bram.pk])

    migration.keep_tokens(apps, editor)
    migration.drop_earlier(apps, editor)

    assert "authtoken_token" not in connection.introspection.table_names()
    assert ask(client, key).status_code == 200
    with time_machine.travel(timezone.now() + timedelta(days=90, seconds=1)):
        assert ask(client, key).status_code == 401
