"""One key, one act: a repeat is answered as the first time, in the transaction of the act."""

import json
from datetime import timedelta

import pytest
import time_machine
from django.db import connection, transaction
from django.test import Client
from django.utils import timezone

from apiary_sales.api import idempotency
from apiary_sales.api.models import KeptAnswer
from apiary_sales.customers.services import customers, personal_data
from apiary_sales.keeping import tidying
from inventory.stock.models import Balance, Lot, Place
from inventory.stock.services import honey
from tests import builders, rivals

pytestmark = pytest.mark.django_db

BODY = {
    "place": "tank-1",
    "grams": 1000,
    "season": 2026,
    "floral_source": "Clover",
    "extracted_on": "2026-07-20",
    "moisture_percent": "17.4",
}


@pytest.fixture
def tank():
    return builders.place("tank-1")


def send(body=BODY, key="k", role="owner", path="extractions/", raw=None):
    """Send an act from a client of its own."""
    return Client(raise_request_exception=False).post(
        f"/api/v1/{path}",
        json.dumps(body) if raw is None else raw,
        content_type="application/json",
        headers={"Authorization": builders.authorization(role), "Idempotency-Key": key},
    )


def test_a_repeat_has_the_status_and_the_very_words_of_the_first_and_says_that_it_is_one(tank):
    first, again = send(), send()

    assert (first.status_code, again.status_code) == (201, 201)
    assert again.content == first.content
    assert again["Content-Type"] == first["Content-Type"] == "application/json"
    assert "Idempotency-Replayed" not in first
    assert again["Idempotency-Replayed"] == "true"
    assert Lot.objects.count() == 1


def test_the_first_answer_is_repeated_also_when_the_thing_has_changed(tank):
    first = send()
    Lot.objects.update(floral_source="Basswood")

    assert send().content == first.content


def test_the_same_body_written_otherwise_is_the_same_body(tank):
    first = send()

    again = send(raw=json.dumps(dict(reversed(BODY.items())), indent=3))

    assert again.content == first.content


def test_another_body_under_the_key_is_refused_with_what_was_recorded(tank):
    first = send()

    said = send({**BODY, "grams": 2000})

    assert (said.status_code, said["Content-Type"]) == (409, "application/problem+json")
    assert (said.json()["code"], said.json()["recorded"]) == ("key_used", first.json())
    assert Balance.objects.in_vessel(tank).quantity == 1000


def test_the_key_at_another_address_is_refused_with_what_was_recorded(tank):
    builders.place("tank-2")
    first = send()

    said = send({"source": "tank-1", "target": "tank-2", "grams": 10}, path="transfers/")

    assert (said.status_code, said.json()["recorded"]) == (409, first.json())
    assert Balance.objects.in_vessel(tank).quantity == 1000


@pytest.mark.parametrize("wrong", [{"grams": -1}, {"grams": 60_000_000}])
def test_after_a_refusal_a_right_body_acts_under_the_same_key(tank, wrong):
    assert send(BODY | wrong).status_code in (400, 422)
    assert not KeptAnswer.objects.exists()

    assert send().status_code == 201


def test_a_fault_leaves_neither_an_act_nor_an_answer(tank, monkeypatch):
    save = KeptAnswer.save

    def keep_no_answer(self, **how):
        if how.get("update_fields"):
            raise RuntimeError
        save(self, **how)

    with monkeypatch.context() as patched:
        patched.setattr(KeptAnswer, "save", keep_no_answer)
        assert send().status_code == 500

    assert not Lot.objects.exists()
    assert send().status_code == 201


def test_two_people_may_have_the_same_key(tank):
    first, second = send(role="owner"), send(role="bottling")

    assert (first.status_code, second.status_code) == (201, 201)
    assert first.json()["id"] != second.json()["id"]


def test_an_act_without_a_body_is_repeated_too(tank):
    made = send({"lots": [send().json()["id"]], "reason": "glass"}, key="h", path="holds/")
    address = f"lots/{Lot.objects.get().code}/in-bulk/release/"

    first = send({"reason": "tested"}, key="r", path=address)

    assert made.status_code == first.status_code == 200
    assert send({"reason": "tested"}, key="r", path=address).content == first.content


def test_an_act_that_changes_nothing_and_answers_nothing_is_repeated(tank):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    jars = builders.packed_lot(builders.product(), shelf, 48)
    body = {"lot": jars.pk, "place": "shelf", "counted": 48, "reason": "Month"}

    first, again = (send(body, path="stock-counts/") for _time in range(2))

    assert (first.status_code, again.status_code) == (204, 204)
    assert again["Idempotency-Replayed"] == "true"


def test_answers_are_forgotten_when_they_were_kept_long_enough(tank):
    with time_machine.travel(timezone.now() - idempotency.KEPT_FOR - timedelta(minutes=1)):
        send(key="old")
    send(key="new")

    tidying.tidy_all()

    assert [kept.key for kept in KeptAnswer.objects.all()] == ["new"]
    assert send(key="old").json()["code"] == "already_recorded"


def test_what_is_kept_is_forgotten_when_a_customer_is_erased(tank, owner):
    send()
    former = customers.add(name="Ursel Vane")

    personal_data.erase(customer=former, asked="by letter", erased_by=owner, key="erase")

    assert not KeptAnswer.objects.exists()
    assert send().json()["code"] == "already_recorded"


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_of_two_at_once_one_acts_and_both_are_answered_alike():
    builders.place("tank-1")
    builders.authorization("owner")

    answers = rivals.together(*[send] * 4)

    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.content for answer in answers}) == 1
    assert sorted("Idempotency-Replayed" in answer for answer in answers) == [False] + [True] * 3
    assert Lot.objects.count() == 1


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_of_two_different_bodies_at_once_one_acts():
    tank = builders.place("tank-1")
    builders.authorization("owner")

    answers = rivals.together(send, lambda: send({**BODY, "grams": 2000}))

    assert sorted(answer.status_code for answer in answers) == [201, 409]
    made, refused = sorted(answers, key=lambda answer: answer.status_code)
    assert refused.json()["recorded"] == made.json()
    assert Balance.objects.in_vessel(tank).quantity == made.json()["quantity_made"]


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_who_waits_for_one_that_is_refused_acts():
    """The first holds its key while it is refused; the second waits for it, and acts."""
    builders.place("tank-1")
    builders.authorization("owner")

    answers = rivals.together(send, lambda: send({**BODY, "grams": 60_000_000}))

    assert sorted(answer.status_code for answer in answers) in ([201, 409], [201, 422])
    assert Lot.objects.count() == 1


def test_the_answer_is_kept_inside_the_transaction_of_the_act(tank, monkeypatch):
    """A crash behind the act, before the commit, leaves neither."""
    seen = []
    receive = honey.receive

    def received(**facts):
        lot = receive(**facts)
        seen.append((connection.in_atomic_block, KeptAnswer.objects.get().status))
        transaction.set_rollback(True)
        return lot

    with monkeypatch.context() as patched:
        patched.setattr(honey, "receive", received)
        send()

    assert seen == [(True, None)]
    assert not Lot.objects.exists()
    assert not KeptAnswer.objects.exists()
