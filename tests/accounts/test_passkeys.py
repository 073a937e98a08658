"""What is no answer of a browser about a passkey is refused in words; see tests/browser too."""

import json

import pytest
from django.utils import timezone

from apiary_sales.accounts.second_step_models import Passkey
from apiary_sales.accounts.services import second_steps
from tests import builders

pytestmark = pytest.mark.django_db

SIGN_IN = "/account/sign-in/passkey/"
KNOWN = "AAECAwQFBgcICQoLDA0ODw"


def answer(**parts) -> str:
    whole = {
        "id": KNOWN,
        "rawId": KNOWN,
        "type": "public-key",
        "response": {"clientDataJSON": "e30", "authenticatorData": "AAAA", "signature": "AAAA"},
    }
    return json.dumps({**whole, **parts})


BAD = [
    "{",
    "null",
    "[]",
    "5",
    '{"id": 5}',
    '{"id": "nobody-has-it"}',
    '{"id": "\\ud800"}',
    '{"id": "a\\u0000"}',
    '{"id": ' + "[" * 9_000,
    answer(),
    answer(rawId="%%%"),
    answer(rawId=7),
    answer(type="password"),
    answer(response=None),
    answer(response={}),
    answer(response={"clientDataJSON": "A", "authenticatorData": "A", "signature": "A"}),
    answer(response={"clientDataJSON": "_w", "authenticatorData": "AAAA", "signature": "AAAA"}),
    answer(response={"clientDataJSON": 1, "authenticatorData": 2, "signature": 3}),
]


@pytest.fixture
def passkey():
    return Passkey.objects.create(
        person=builders.person("office"),
        name="My phone",
        credential=KNOWN,
        public_key=bytes(77),
        added_at=timezone.now(),
    )


@pytest.mark.parametrize("sent", ["", *BAD])
def test_what_is_no_answer_signs_nobody_in(client, passkey, sent):
    client.get(SIGN_IN)

    assert client.post(SIGN_IN, {"answer": sent}).status_code == 422
    assert client.get("/help/").status_code == 302


@pytest.mark.parametrize("sent", ["", *BAD])
def test_what_is_no_answer_adds_no_passkey(client, sent):
    client.force_login(builders.person("office"))
    client.get("/account/passkeys/add/")
    fields = {"name": "My phone", "password": "office", "answer": sent}

    assert client.post("/account/passkeys/add/", fields).status_code == 422
    assert not Passkey.objects.exists()


def test_nobody_removes_the_passkey_of_another(client, passkey):
    client.force_login(builders.person("owner"))

    assert client.post(f"/account/passkeys/{passkey.pk}/remove/").status_code == 404
    assert Passkey.objects.exists()


def test_who_lost_everything_loses_the_passkeys_too(passkey):
    second_steps.remove(person=passkey.person, removed_by=builders.person("owner"))

    assert not Passkey.objects.exists()
