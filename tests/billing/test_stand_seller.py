"""The change of seller at a shared phone, asked as its page asks."""

import json

import pytest
from django.urls import reverse

from apiary_sales.accounts import seller_proofs
from apiary_sales.accounts.services import people, pins
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def suki():
    suki = people.add(username="suki", name="Suki", role="stand", password="beeswax-and-twine")
    pins.set_pin(person=suki, pin="4831", set_by=suki)
    return suki


@pytest.fixture
def ask(client):
    client.force_login(builders.person("office"))

    def ask(seller, pin, **more):
        body = {"seller": getattr(seller, "pk", seller), "pin": pin, **more}
        return client.post(
            reverse("billing:stand_seller"), json.dumps(body), content_type="application/json"
        )

    return ask


def test_the_right_pin_says_who_sells_and_changes_nothing_about_who_is_signed_in(ask, client, suki):
    answer = ask(suki, "4831")

    assert (answer.status_code, answer["X-Stand"]) == (200, "1")
    assert answer.json() == {
        "id": suki.pk,
        "name": "Suki",
        "proof": seller_proofs.proof_of(suki),
    }
    assert client.get(reverse("billing:money")).status_code == 200
    assert client.get("/").wsgi_request.user.username == "office"


def test_a_wrong_pin_is_told(ask, suki):
    answer = ask(suki, "4832")

    assert (answer.status_code, answer["X-Stand"]) == (422, "1")
    assert answer.json() == {"message": "This is not the PIN of Suki. Type it again."}


def test_wrong_ones_are_counted_over_requests(ask, suki):
    for _try in range(4):
        assert ask(suki, "0000").status_code == 422

    fifth, sixth = ask(suki, "0000"), ask(suki, "4831")

    assert (fifth.status_code, fifth["X-Stand"]) == (429, "1")
    assert fifth.json() == {
        "message": "The PIN was wrong too often. Try again in 60 seconds.",
        "wait_seconds": 60,
    }
    assert sixth.status_code == 429
    assert 0 < sixth.json()["wait_seconds"] <= 60


def test_who_left_or_lost_the_role_is_no_seller(ask, suki):
    builders.person("owner")
    people.switch_off(person=suki)
    gone = ask(suki, "4831")
    people.switch_on(person=suki)
    people.change_role(person=suki, role="bottling")
    elsewhere = ask(suki, "4831")

    assert (gone.status_code, gone.json()["message"]) == (422, "Suki no longer works here.")
    assert elsewhere.status_code == 422


@pytest.mark.parametrize(
    ("seller", "pin"), [("1", "4831"), (True, "4831"), (1, 4831), (1, None), (10**30, "4831")]
)
def test_what_can_not_be_read_is_refused_in_words(ask, seller, pin):
    answer = ask(seller, pin)

    assert answer.status_code == 422
    assert answer.json()["message"] == "This could not be read. Open the stand page again."


def test_only_who_may_sell_asks(client, suki):
    address = reverse("billing:stand_seller")
    body = json.dumps({"seller": suki.pk, "pin": "4831"})
    signed_out = client.post(address, body, content_type="application/json")
    client.force_login(builders.person("bottling"))
    without = client.post(address, body, content_type="application/json")

    assert (signed_out.status_code, signed_out["X-Stand"]) == (401, "1")
    assert (without.status_code, without["X-Stand"]) == (403, "1")
    assert client.get(address).status_code == 405
