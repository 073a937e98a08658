"""Who sends passwords waits in a queue apart from everybody else."""

import threading
from types import SimpleNamespace

import pytest

from apiary_sales.web import lanes

WAIT_SECONDS = 30


class Asked:
    """A connection with one request, which is answered when it may be."""

    def __init__(self, command: str, path: str, may_end: threading.Event | None = None) -> None:
        self.requests = [SimpleNamespace(command=command, path=path)]
        self.begun, self.answered = threading.Event(), threading.Event()
        self.may_end = may_end

    def service(self) -> None:
        self.begun.set()
        if self.may_end:
            self.may_end.wait(WAIT_SECONDS)
        self.answered.set()

    def cancel(self) -> None:
        pass


@pytest.fixture
def dispatcher(monkeypatch):
    monkeypatch.setattr(lanes, "REST_SECONDS", 0)
    made = lanes.Lanes(threads=1)
    yield made
    made.shutdown()


@pytest.fixture
def guess(dispatcher):
    """A password that is being checked until the test ends."""
    may_end = threading.Event()
    sent = Asked("POST", "/account/sign-in/", may_end)
    dispatcher.add_task(sent)
    assert sent.begun.wait(WAIT_SECONDS)
    yield sent
    may_end.set()
    assert sent.answered.wait(WAIT_SECONDS)


@pytest.mark.parametrize(
    ("command", "path"),
    [("GET", "/"), ("GET", "/account/sign-in/"), ("POST", "/stand/sell/"), ("POST", "/account/")],
)
def test_a_page_is_answered_while_a_password_is_checked(dispatcher, guess, command, path):
    page = Asked(command, path)

    dispatcher.add_task(page)

    assert page.answered.wait(WAIT_SECONDS)
    assert not guess.answered.is_set()


def test_a_request_that_could_not_be_read_is_answered_too(dispatcher, guess):
    unread = Asked("", "")
    unread.requests = [SimpleNamespace()]

    dispatcher.add_task(unread)

    assert unread.answered.wait(WAIT_SECONDS)


@pytest.mark.parametrize(
    "path",
    ["/account/sign-in/", "//account/sign-in/", "/api/v1/token/", "/account/new-password/MQ/set/"],
)
def test_passwords_wait_for_each_other(dispatcher, guess, path):
    other, page = Asked("POST", path), Asked("GET", "/")

    dispatcher.add_task(other)
    dispatcher.add_task(page)

    # The page came later and was answered: the other one waits in the other queue.
    assert page.answered.wait(WAIT_SECONDS)
    assert not other.answered.is_set()
    assert len(dispatcher.passwords.queue) == 1
    guess.may_end.set()
    assert other.answered.wait(WAIT_SECONDS)
