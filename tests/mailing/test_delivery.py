"""The worker and the mail server: what is taken, refused, tried again, and never sent twice."""

import time
from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from apiary_sales.mailing.models import Email
from apiary_sales.mailing.rules import attempts
from apiary_sales.mailing.services import delivery, emails
from apiary_sales.web.background import BackgroundWorker
from inventory.shared import mailable
from tests import builders
from tests.mailing import mail_server, worker

pytestmark = pytest.mark.django_db


@pytest.fixture
def server(settings):
    with mail_server.running() as running:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", running.port
        settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
        settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
        settings.EMAIL_TIMEOUT = 5
        yield running


@pytest.fixture
def email(invoice):
    paper = mailable.by_name("invoice")
    person = builders.person()
    draft = emails.draft(paper=paper, thing=invoice, details={}, sent_by=person)
    return emails.send(
        paper=paper,
        thing=invoice,
        to=draft.to,
        subject=draft.subject,
        body=draft.body,
        sent_by=person,
        key="one",
    )


def state_of(email):
    email.refresh_from_db()
    return email.status, email.error


def test_an_e_mail_waits_for_the_worker_and_is_then_sent(server, email):
    assert state_of(email) == ("waiting", "")

    worker.do_all()

    assert state_of(email) == ("sent", "")
    [taken] = server.taken
    assert "To: ada@corner.example\r\n" in taken
    assert f"Message-ID: {email.message_id}\r\n" in taken
    assert "Content-Type: application/pdf\r\n" in taken


def test_a_task_is_written_in_the_transaction_of_its_e_mail(email):
    assert [task.args_kwargs["args"] for task in DBTaskResult.objects.all()] == [[email.pk]]


@pytest.mark.parametrize(
    ("command", "answer"),
    [
        ("RCPT", "550 no such mailbox"),
        ("MAIL", "553 not from you"),
        ("DATA", "554 not wanted"),
        ("CONNECT", "554 no service here"),
    ],
)
def test_what_the_mail_server_refuses_for_good_is_not_tried_again(server, email, command, answer):
    server.answers[command] = answer

    worker.do_all()

    assert state_of(email) == ("refused", answer)
    assert server.taken == []
    assert not DBTaskResult.objects.ready().exists()


@pytest.mark.parametrize(
    ("command", "answer"),
    [
        ("RCPT", "450 mailbox is busy"),
        ("DATA", "451 try again"),
        ("CONNECT", "421 too many connections"),
    ],
)
def test_what_it_refuses_for_now_is_tried_again_later(server, email, command, answer):
    server.answers[command] = answer

    worker.do_all()

    assert state_of(email) == ("waiting", answer)
    assert email.next_attempt_at == timezone.now() + timedelta(minutes=1)
    server.answers.clear()
    worker.do_all()
    assert server.taken == []
    with time_machine.travel(timezone.now() + timedelta(minutes=1), tick=False):
        worker.do_all()
        assert state_of(email) == ("sent", "")
    assert (len(server.taken), email.attempts) == (1, 2)


def test_after_the_last_attempt_it_is_given_up(server, email):
    server.answers["RCPT"] = "450 mailbox is busy"
    now = timezone.now()

    for _attempt in range(len(attempts.WAITS) + 1):
        with time_machine.travel(now, tick=False):
            worker.do_all()
        now += timedelta(days=1)

    assert state_of(email) == ("refused", "450 mailbox is busy")
    assert email.attempts == len(attempts.WAITS) + 1


def test_a_mail_server_that_is_not_there_is_tried_again(settings, server, email):
    server.shutdown()
    server.server_close()

    worker.do_all()

    status, error = state_of(email)
    assert status == "waiting"
    assert "refused" in error


def test_where_the_connection_breaks_after_the_mail_nobody_knows(server, email):
    server.answers["DATA"] = ""

    worker.do_all()

    status, _error = state_of(email)
    assert (status, email.is_unknown) == ("unknown", True)
    server.answers.clear()
    delivery.queue_waiting()
    worker.do_all()
    assert server.taken == []


def test_an_e_mail_of_a_worker_that_stopped_is_not_known_after_ten_minutes(email):
    email.status, email.next_attempt_at = Email.Status.SENDING, None
    email.attempted_at = timezone.now()
    email.save()

    with time_machine.travel(timezone.now() + timedelta(minutes=10), tick=False):
        assert not email.is_unknown
    with time_machine.travel(timezone.now() + timedelta(minutes=10, seconds=1), tick=False):
        assert email.is_unknown


def test_a_task_that_was_lost_is_queued_again(server, email):
    DBTaskResult.objects.all().delete()

    assert delivery.queue_waiting() == 1
    delivery.queue_waiting()
    worker.do_all()

    assert state_of(email) == ("sent", "")
    assert len(server.taken) == 1
    assert delivery.queue_waiting() == 0


def wait_for(is_so):
    for _turn in range(200):
        if is_so():
            return
        time.sleep(0.05)
    raise AssertionError("Nothing happened within ten seconds.")


@pytest.mark.django_db(transaction=True)
def test_the_worker_of_the_service_sends_starts_again_and_stops(server, email, caplog):
    failures = [RuntimeError("the database was away")]

    def fail_once():
        if failures:
            raise failures.pop()

    with (
        time_machine.travel(timezone.now(), tick=True),
        BackgroundWorker(at_start=(fail_once,), restart_wait=0.01) as background,
    ):
        wait_for(lambda: Email.objects.get().status == Email.Status.SENT)

    assert len(server.taken) == 1
    assert "Background work failed and starts again" in caplog.text
    assert not background._thread.is_alive()
    assert DBTaskResult.objects.get().status == TaskResultStatus.SUCCESSFUL
