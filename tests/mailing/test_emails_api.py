"""E-mails and reminders through the API."""

import json
from datetime import timedelta

import pytest
import time_machine
from django.core import mail

from apiary_sales.mailing.models import Email
from tests import builders

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_once")]


@pytest.fixture
def call(client):
    def send(method, path, body=None, *, role="office", key=None):
        headers = {"Authorization": builders.authorization(role)}
        if key:
            headers["Idempotency-Key"] = key
        data = {} if body is None else {"data": json.dumps(body)}
        return getattr(client, method)(
            f"/api/v1/{path}", headers=headers, content_type="application/json", **data
        )

    return send


def test_an_invoice_is_sent_and_read_back(call, invoice):
    made = call("post", "emails/", {"paper": "invoice", "thing": invoice.pk}, key="e1")

    assert made.status_code == 201
    shown = call("get", f"emails/{made.json()['id']}/").json()
    assert (shown["to"], shown["status"], shown["error"]) == ("ada@corner.example", "sent", "")
    [paper] = shown["papers"]
    assert (paper["paper"], paper["thing_id"]) == ("invoice", invoice.pk)
    [(_name, content, _type)] = mail.outbox[0].attachments
    assert call("get", f"email-papers/{paper['id']}/").content == content
    assert [row["id"] for row in call("get", "emails/").json()["results"]] == [shown["id"]]


def test_the_same_key_sends_once_and_answers_as_the_first_time(call, invoice):
    body = {"paper": "invoice", "thing": invoice.pk}
    made = call("post", "emails/", body, key="e1")

    said = call("post", "emails/", body, key="e1")

    assert (said.status_code, said.content) == (made.status_code, made.content)
    assert len(mail.outbox) == 1


@pytest.mark.parametrize(
    ("changes", "status", "field"),
    [
        ({"paper": "letter"}, 400, "paper"),
        ({"paper": ["invoice"]}, 400, "paper"),
        ({"thing": 999_999}, 400, "thing"),
        ({"thing": "1"}, 400, "thing"),
        ({"to": "ada"}, 422, "to"),
        ({"subject": "Hello\nBcc: all@corner.example"}, 422, "subject"),
        ({"details": {"since": "yesterday"}}, 400, "details.since"),
    ],
)
def test_what_is_wrong_is_named_and_nothing_is_sent(call, invoice, changes, status, field):
    said = call("post", "emails/", {"paper": "invoice", "thing": invoice.pk} | changes, key="e1")

    assert said.status_code == status
    assert [error["field"] for error in said.json()["errors"]] == [field]
    assert (Email.objects.count(), mail.outbox) == (0, [])


def test_the_stand_may_send_no_invoice(call, invoice):
    body = {"paper": "invoice", "thing": invoice.pk}

    assert call("post", "emails/", body, role="stand", key="e1").status_code == 403
    assert call("get", "emails/", role="stand").status_code == 403
    assert call("post", "emails/", body, role="bottling", key="e1").status_code == 403
    assert mail.outbox == []


def test_an_e_mail_is_sent_again_and_noted_as_come_back(call, invoice):
    made = call("post", "emails/", {"paper": "invoice", "thing": invoice.pk}, key="e1").json()

    again = call("post", f"emails/{made['id']}/again/", {"to": "b@corner.example"}, key="e2")
    assert (again.status_code, again.json()["resends"]) == (201, made["id"])
    assert again.json()["subject"] == made["subject"]

    body = {"bounced_on": "2026-09-10", "note": "Mailbox is full"}
    noted = call("post", f"emails/{made['id']}/came-back/", body)
    assert noted.json()["bounce_note"] == "Mailbox is full"
    assert call("post", f"emails/{made['id']}/came-back/", body).status_code == 409


def test_a_text_is_set_and_taken_back(call):
    body = {"name": "invoice", "language": "en", "subject": "Bill {number}", "body": "Pay."}
    assert call("post", "email-texts/", body).status_code == 200

    def own():
        rows = call("get", "email-texts/").json()
        return [(row["name"], row["language"]) for row in rows if row["is_own"]]

    assert own() == [("invoice", "en")]
    call("post", "email-texts/usual/", {"name": "invoice", "language": "en"})
    assert own() == []


def test_reminders_are_approved_by_what_was_shown(call, invoice):
    day = invoice.due_on + timedelta(days=7)
    with time_machine.travel(f"{day.isoformat()}T18:00:00+00:00", tick=False):
        [row] = call("get", "reminders/").json()
        assert (row["level"], row["owed_cents"]) == (1, 7200)

        wrong = {"chosen": [{"customer": row["customer_id"], "digest": "0" * 32}]}
        assert call("post", "reminders/", wrong, key="r1").status_code == 409
        assert mail.outbox == []

        right = {"chosen": [{"customer": row["customer_id"], "digest": row["digest"]}]}
        made = call("post", "reminders/", right, key="r2")

    assert made.status_code == 201
    assert [each["invoice_id"] for each in made.json()[0]["reminders"]] == [invoice.pk]
    assert len(mail.outbox) == 1


def test_the_schedule_and_pauses(call, shop, invoice):
    plan = {"first_days": 5, "second_days": 10, "third_days": 20, "minimum_cents": 100}
    assert call("post", "reminder-plan/", plan).json() == plan
    assert call("get", "reminder-plan/").json() == plan

    path = f"customers/{shop.pk}/reminder-pauses/"
    made = call("post", path, {"invoice": invoice.pk, "reason": "Disputed"}, key="p1")
    assert made.status_code == 201
    assert [row["reason"] for row in call("get", path).json()["results"]] == ["Disputed"]
    ended = call("post", f"reminder-pauses/{made.json()['id']}/end/")
    assert ended.status_code == 200
    assert call("get", path).json()["results"] == []
