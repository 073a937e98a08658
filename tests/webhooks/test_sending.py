"""What a program gets, how it is signed, and what is done where it does not take it."""

import base64
import hashlib
import hmac
import json
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.db import transaction
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult, get_date_max
from standardwebhooks import Webhook, WebhookVerificationError

from apiary_sales.keeping.services import nightly
from apiary_sales.mailing.services import delivery as e_mails
from apiary_sales.web import background
from apiary_sales.webhooks import connecting
from apiary_sales.webhooks.models import EventDelivery, HouseEvent
from apiary_sales.webhooks.rules import attempts
from apiary_sales.webhooks.services import endpoints, sending
from inventory.shared.errors import NotAllowedNow
from tests import builders
from tests.mailing import worker

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 9, 10, 12, 0, tzinfo=UTC)


def state_of(delivery):
    delivery.refresh_from_db()
    return delivery.state, delivery.tries, delivery.status


def signed_by_hand(secret, event_id, timestamp, body):
    """The description of the scheme, written out: HMAC-SHA256 over "id.timestamp.body"."""
    key = base64.b64decode(secret.removeprefix("whsec_"))
    mac = hmac.new(key, f"{event_id}.{timestamp}.".encode() + body, hashlib.sha256)
    return "v1," + base64.b64encode(mac.digest()).decode()


def test_a_program_gets_what_happened_once_and_can_check_the_signature(program, told):
    endpoint, secret = told()
    customer = builders.customer()

    worker.do_all()

    [(path, headers, body)] = program.got
    assert path == "/told?by=house"
    assert headers["Content-Type"] == "application/json"
    said = json.loads(body)
    assert said["type"] == "customer.changed"
    assert said["id"] == headers["webhook-id"]
    assert said["data"] == {
        "customer_id": customer.pk,
        "url": f"/api/v1/customers/{customer.pk}/",
    }
    assert datetime.fromisoformat(said["timestamp"]) <= timezone.now()
    assert Webhook(secret).verify(body, headers) == said
    assert headers["webhook-signature"] == signed_by_hand(
        secret, headers["webhook-id"], headers["webhook-timestamp"], body
    )
    assert state_of(endpoint.deliveries.get()) == ("taken", 1, 204)


def test_a_signature_does_not_fit_another_body(program, told):
    _endpoint, secret = told()
    builders.customer()
    worker.do_all()
    [(_path, headers, body)] = program.got

    with pytest.raises(WebhookVerificationError):
        Webhook(secret).verify(body + b" ", headers)


def test_old_and_new_secret_sign_for_a_day(program, told):
    endpoint, old = told()
    with time_machine.travel(NOW, tick=False):
        new = endpoints.renew_secret(endpoint=endpoint)
    for hours, both in ((23, True), (25, False)):
        program.got.clear()
        with time_machine.travel(NOW + timedelta(hours=hours), tick=False):
            builders.customer(name=f"After {hours} hours")
            worker.do_all()
            [(_path, headers, body)] = program.got
            signatures = [
                signed_by_hand(each, headers["webhook-id"], headers["webhook-timestamp"], body)
                for each in ([new, old] if both else [new])
            ]
            assert headers["webhook-signature"].split(" ") == signatures
            Webhook(new).verify(body, headers)


def test_the_secret_is_in_no_column_as_it_is(told):
    endpoint, secret = told()

    assert secret not in endpoint.sealed_secret
    assert secret.removeprefix("whsec_") not in endpoint.sealed_secret


def test_with_another_secret_key_nothing_is_sent(program, delivery, settings):
    settings.SECRET_KEY = "another key of fifty signs, for a house that was moved"

    worker.do_all()

    assert program.got == []
    assert state_of(delivery) == ("waiting", 1, None)
    assert delivery.error == "The secret can't be read any more: renew it."


def test_what_is_rolled_back_is_not_told(program, endpoint):
    with transaction.atomic():
        builders.customer()
        transaction.set_rollback(True)

    worker.do_all()

    assert program.got == []
    assert HouseEvent.objects.count() == 0


def test_a_refused_message_is_tried_again_for_three_days_and_then_given_up(
    program, endpoint, monkeypatch
):
    monkeypatch.setattr(sending.random, "random", lambda: 0.5)
    program.status, program.answer = 503, b"closed"
    moments = []
    with time_machine.travel(NOW, tick=False) as clock:
        builders.customer()
        delivery = endpoint.deliveries.get()
        while delivery.state == "waiting" and len(moments) < 50:
            clock.move_to(delivery.next_try_at)
            moments.append(timezone.now() - NOW)
            worker.do_all()
            delivery.refresh_from_db()

    assert [moment.total_seconds() for moment in moments[:7]] == [
        *(0, 5, 35, 155, 755, 2555, 6155),
    ]
    assert timedelta(days=2, hours=12) < moments[-1] <= timedelta(days=3)
    assert delivery.state == "given_up"
    assert (delivery.status, delivery.answer) == (503, "closed")
    assert len({headers["webhook-id"] for _path, headers, _body in program.got}) == 1
    assert len({body for _path, _headers, body in program.got}) == 1
    assert len(program.got) == len(moments)


@pytest.mark.parametrize(("chance", "seconds"), [(0.0, 4), (0.5, 5), (1.0, 6)])
def test_waits_differ_by_chance(chance, seconds):
    assert attempts.wait_after(1, chance) == timedelta(seconds=seconds)


@pytest.mark.parametrize(
    ("status", "state"),
    [(199 + 1, "taken"), (299, "taken"), (300, "waiting"), (410, "waiting"), (500, "waiting")],
)
def test_only_an_answer_of_two_hundred_odd_is_success(program, delivery, status, state):
    program.status = status

    worker.do_all()

    assert state_of(delivery) == (state, 1, status)


def test_a_redirect_is_not_followed(program, delivery):
    program.status, program.location = 302, f"http://127.0.0.1:{program.port}/elsewhere"

    worker.do_all()

    assert [path for path, _headers, _body in program.got] == ["/told?by=house"]
    assert state_of(delivery) == ("waiting", 1, 302)


def test_of_a_long_answer_the_beginning_is_kept(program, delivery):
    program.status, program.answer = 200, b"\x00" + b"x" * 100_000

    worker.do_all()

    delivery.refresh_from_db()
    assert delivery.answer == "x" * 500


def test_a_program_that_says_nothing_is_left_after_its_time(program, delivery, monkeypatch):
    monkeypatch.setattr(connecting, "EXCHANGE_MAX", 0.2)
    program.answers.clear()

    worker.do_all()

    assert state_of(delivery) == ("waiting", 1, None)
    assert delivery.error


def test_after_a_failure_the_others_for_the_same_program_wait(program, endpoint):
    program.status = 500
    builders.customer(name="One")
    builders.customer(name="Two")

    worker.do_all()

    assert len(program.got) == 1
    program.status = 204
    with time_machine.travel(timezone.now() + timedelta(seconds=10)):
        worker.do_all()
    assert len(program.got) == 3
    assert set(endpoint.deliveries.values_list("state", flat=True)) == {"taken"}


def test_a_slow_program_holds_neither_another_nor_e_mails_back(program, told, monkeypatch):
    slow, _secret = told()
    quick, _secret = told(name="Scale")
    builders.customer(name="One")
    builders.customer(name="Two")
    took = {slow.pk: timedelta(seconds=9), quick.pk: timedelta(0)}
    order = []

    def sent(delivery):
        order.append(delivery.endpoint_id)
        return connecting.Sent(204, "", "", took[delivery.endpoint_id])

    monkeypatch.setattr(sending, "_sent", sent)

    worker.do_all()

    assert sorted(order) == sorted([slow.pk, quick.pk, quick.pk])
    slow.refresh_from_db()
    assert slow.rests_until - timezone.now() > timedelta(seconds=30)
    assert sending.tell.priority < e_mails.deliver.priority


def test_a_program_that_only_fails_for_five_days_is_switched_off(program, endpoint):
    program.status = 500
    with time_machine.travel(NOW, tick=False) as clock:
        builders.customer(name="First")
        worker.do_all()
        for days, is_on in ((4.9, True), (5.0, False)):
            clock.move_to(NOW + timedelta(days=days))
            builders.customer(name=f"After {days} days")
            worker.do_all()
            endpoint.refresh_from_db()
            assert endpoint.is_on is is_on
        assert endpoint.given_up_at == NOW + timedelta(days=5)
    assert not endpoint.deliveries.filter(state="waiting").exists()
    builders.customer(name="Not told")
    assert not endpoint.deliveries.filter(event__body__contains="Not told").exists()
    assert endpoint.deliveries.count() == 3


def test_one_success_begins_the_five_days_anew(program, endpoint):
    with time_machine.travel(NOW, tick=False) as clock:
        for days, status in ((0, 500), (3, 204), (4, 500), (8, 500)):
            clock.move_to(NOW + timedelta(days=days))
            program.status = status
            builders.customer(name=f"After {days} days")
            worker.do_all()
    endpoint.refresh_from_db()
    assert endpoint.is_on


def test_what_a_stopped_worker_was_sending_is_sent_again(program, delivery, monkeypatch):
    def stop(_delivery):
        raise SystemExit

    with time_machine.travel(NOW, tick=False) as clock:
        EventDelivery.objects.update(next_try_at=NOW, began_at=NOW)
        with monkeypatch.context() as patched:
            patched.setattr(sending, "_sent", stop)
            with pytest.raises(SystemExit):
                sending.tell.func(delivery.endpoint_id)
        # The machine is gone with its queue.
        DBTaskResult.objects.all().delete()
        assert sending.queue_waiting in background.AT_START
        assert sending.queue_waiting() == 1
        worker.do_all()
        assert program.got == []

        clock.shift(sending.TAKEN_UP_FOR)
        worker.do_all()

    assert len(program.got) == 1
    assert state_of(delivery) == ("taken", 2, 204)


def test_while_one_worker_sends_another_task_waits(delivery):
    waiting = DBTaskResult.objects.filter(status=TaskResultStatus.READY)
    assert waiting.get().run_after == get_date_max()
    assert sending.queue_waiting() == 1
    assert waiting.count() == 1


def test_a_message_that_was_taken_can_be_sent_again_as_it_was(program, delivery):
    worker.do_all()

    endpoints.send_again(delivery=delivery)
    worker.do_all()

    first, second = program.got
    assert first[2] == second[2]
    assert first[1]["webhook-id"] == second[1]["webhook-id"]
    assert state_of(delivery) == ("taken", 1, 204)


def test_to_a_program_that_is_off_nothing_is_sent(program, delivery):
    endpoints.switch_off(endpoint=delivery.endpoint)

    worker.do_all()

    assert program.got == []
    assert state_of(delivery) == ("given_up", 0, None)
    for act in (
        lambda: endpoints.send_again(delivery=delivery),
        lambda: endpoints.send_test(endpoint=delivery.endpoint),
    ):
        with pytest.raises(NotAllowedNow, match=r"Web shop is switched off\. Switch it on first\."):
            act()


def test_a_test_is_sent_whatever_is_told_otherwise(program, endpoint):
    endpoints.send_test(endpoint=endpoint)

    worker.do_all()

    [(_path, _headers, body)] = program.got
    assert json.loads(body)["type"] == "test"
    assert json.loads(body)["data"] == {}


@pytest.mark.parametrize(("days", "left"), [(29, 1), (31, 0)])
def test_old_messages_are_deleted_in_the_night(program, delivery, monkeypatch, days, left):
    worker.do_all()
    monkeypatch.setattr(nightly, "make_nightly", lambda *, now: "made")

    with time_machine.travel(timezone.now() + timedelta(days=days)):
        nightly.back_up_tonight.func()

    assert EventDelivery.objects.count() == left
    assert HouseEvent.objects.count() == left
