"""Who sends passwords, or asks for what takes long, waits in a queue apart from everybody else."""

import re
import threading
from collections.abc import Iterator
from types import SimpleNamespace

import pytest
from django.urls import get_resolver

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


@pytest.fixture
def papers(dispatcher):
    """As many papers as can be made at once, which are being made until the test ends."""
    may_end = threading.Event()
    asked = [Asked("GET", "/money/invoices/7/pdf/", may_end) for _paper in range(2)]
    for paper in asked:
        dispatcher.add_task(paper)
        assert paper.begun.wait(WAIT_SECONDS)
    yield asked
    may_end.set()
    for paper in asked:
        assert paper.answered.wait(WAIT_SECONDS)


def test_papers_wait_for_each_other_and_no_page_waits_for_them(dispatcher, papers):
    other, page = Asked("GET", "/api/v1/lots/2026-01/certificate.pdf"), Asked("GET", "/")

    dispatcher.add_task(other)
    dispatcher.add_task(page)

    assert page.answered.wait(WAIT_SECONDS)
    assert not other.begun.is_set()
    papers[0].may_end.set()
    assert other.answered.wait(WAIT_SECONDS)


def test_one_paper_too_many_is_told_so_at_once(dispatcher, papers, monkeypatch):
    monkeypatch.setattr(lanes, "LONG_WAITING_MAX", 2)
    waiting = [Asked("GET", "/reports/sales.csv") for _place in range(2)]
    for each in waiting:
        dispatcher.add_task(each)
    too_many = Asked("GET", "/reports/plan/")

    dispatcher.add_task(too_many)

    assert too_many.answered.wait(WAIT_SECONDS)
    assert too_many.requests[0].is_one_too_many
    assert not any(hasattr(each.requests[0], "is_one_too_many") for each in waiting)


def test_who_came_to_a_full_queue_is_asked_to_come_again(client, owner):
    client.force_login(owner)
    full = {lanes.IS_ONE_TOO_MANY: True}

    page = client.get("/reports/plan/", **full)
    problem = client.get("/api/v1/bottling-plan/", **full)

    sentence = "Very many papers, plans and reports are waiting to be made. Ask again in a minute."
    assert (page.status_code, page["Retry-After"]) == (503, "30")
    assert sentence in page.content.decode()
    assert (problem.status_code, problem["Retry-After"]) == (503, "30")
    assert problem["Content-Type"] == "application/problem+json"
    assert (problem.json()["code"], problem.json()["detail"]) == ("too_busy", sentence)


def test_no_header_of_a_visitor_makes_one_too_many(client, owner):
    client.force_login(owner)
    headers = {f"HTTP_{lanes.IS_ONE_TOO_MANY}": "True", "HTTP_IS_ONE_TOO_MANY": "True"}

    assert client.get("/", **headers).status_code == 200


def routes(resolver, before="/") -> Iterator[tuple[str, str]]:
    for each in resolver.url_patterns:
        route = before + str(each.pattern)
        if hasattr(each, "url_patterns"):
            yield from routes(each, route)
        else:
            yield route, each.name or ""


def test_every_paper_and_list_as_a_file_waits_in_the_queue_for_them():
    # What keeps a file that was made before only hands it on; rows of another import are few.
    files = re.compile(r"[_-](pdf|csv|xlsx)\Z|\.(pdf|csv|xlsx)\Z|-paper\Z")
    kept = {"/api/v1/email-papers/<int:pk>/"}
    found = [
        route
        for route, name in routes(get_resolver())
        if files.search(f"{name}") or files.search(route)
    ]

    assert len(found) > 60
    assert {route for route in found if not lanes.is_long(route)} == kept


@pytest.mark.parametrize("path", ["/", "/money/invoices/", "/stand/", "/static/web/app.css"])
def test_pages_do_not_wait_for_papers(path):
    assert not lanes.is_long(path)
