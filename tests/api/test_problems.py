"""Every refusal under /api/ is a problem (RFC 9457), whoever refuses; a fault tells nothing."""

import json
import logging
from time import process_time

import pytest
from django.contrib.sessions.exceptions import SessionInterrupted
from django.contrib.sessions.middleware import SessionMiddleware
from django.db import OperationalError
from django.http import HttpResponse
from django.test import Client, RequestFactory

from apiary_sales.accounts.services import sign_ins
from apiary_sales.accounts.session_store import SessionStore
from apiary_sales.web.middleware import HouseSessionMiddleware
from inventory.shared import conventions
from inventory.shared.errors import TooManyTries
from inventory.stock.services import honey
from tests import builders
from tests.web.test_addresses import routes, sample

pytestmark = pytest.mark.django_db

EXTRACTION = {
    "place": "tank-1",
    "grams": 1000,
    "season": 2026,
    "floral_source": "Clover",
    "extracted_on": "2026-07-20",
    "moisture_percent": "17.4",
}
MEMBERS = {"type", "title", "status", "code", "detail", "errors"}


@pytest.fixture
def asking():
    """Return a client that is answered as in real life where something goes wrong."""
    return Client(
        raise_request_exception=False, headers={"Authorization": builders.authorization()}
    )


def problem(answer, status, code):
    said = json.loads(answer.content)
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    assert said.keys() >= MEMBERS
    assert (said["status"], said["code"]) == (status, code)
    return said


def post(client, path="extractions/", body=EXTRACTION, **headers):
    return client.post(
        f"/api/v1/{path}",
        body,
        content_type="application/json",
        headers={"Idempotency-Key": "k", **headers},
    )


@pytest.mark.parametrize("method", ["get", "post", "put", "patch", "delete", "options"])
def test_an_address_that_is_not_there_is_a_problem(asking, method):
    problem(getattr(asking, method)("/api/v1/hives/"), 404, "not_found")


def test_an_act_at_an_address_without_its_slash_is_told_the_address(asking):
    said = problem(asking.post("/api/v1/extractions?x=1", EXTRACTION), 404, "moved")

    assert said["address"] == "/api/v1/extractions/?x=1"
    assert said["address"] in said["detail"]


def test_a_reading_without_its_slash_is_led_to_the_address(asking):
    answer = asking.get("/api/v1/lots?page_size=2")

    assert (answer.status_code, answer["Location"]) == (308, "/api/v1/lots/?page_size=2")


def test_an_act_without_https_is_not_redirected(asking, settings):
    settings.SECURE_SSL_REDIRECT = True

    said = problem(post(asking), 404, "moved")

    assert said["address"] == "https://testserver/api/v1/extractions/"


def test_what_django_refuses_is_a_problem(asking):
    problem(asking.get("/api/v1/lots/", headers={"Host": "evil.example"}), 400, "bad_request")
    problem(asking.get("/api/v1/lots/?" + "a=1&" * 1001), 400, "bad_request")
    problem(asking.get("/api/v1/lots/\x00/"), 404, "not_found")
    in_hex = "application/json; charset=hex"
    answer = asking.generic("POST", "/api/v1/extractions/", b"7b7d", content_type=in_hex)
    problem(answer, 415, "unsupported_media_type")


def test_a_malformed_form_is_a_problem(asking):
    lot = builders.lot_in(builders.place("tank-1"))
    address = f"/api/v1/lots/{lot.code}/files/"

    for media_type in ("multipart/form-data", "multipart/form-data; boundary=x"):
        answer = asking.post(address, b"--y\r\nnone", content_type=media_type)
        problem(answer, 400, "parse_error")


def test_too_long_a_body_is_a_problem(asking, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100

    problem(post(asking, body={**EXTRACTION, "yard": "y" * 200}), 413, "too_long")


def test_another_kind_of_body_is_a_problem(asking):
    keyed = {"Idempotency-Key": "k"}
    answer = asking.post("/api/v1/extractions/", "a=1", content_type="text/plain", headers=keyed)

    problem(answer, 415, "unsupported_media_type")


def test_another_kind_of_answer_is_a_problem(asking):
    problem(asking.get("/api/v1/lots/", headers={"Accept": "text/html"}), 406, "not_acceptable")


def test_who_is_not_known_is_told_how_to_sign_in(client):
    answer = client.get("/api/v1/lots/")

    problem(answer, 401, "not_authenticated")
    assert answer["WWW-Authenticate"]


def test_what_a_role_may_not_do_is_a_problem(client):
    answer = post(client, Authorization=builders.authorization("stand"))

    problem(answer, 403, "permission_denied")


def test_every_address_answers_options_and_says_which_methods_it_takes(asking):
    # The beginning leads a person to the pages about the API.
    addresses = {
        sample(route)
        for route in routes()
        if route.startswith("api/v1/") and not route.startswith("api/v1/docs/")
    } - {"/api/v1/"}
    wrong = set()
    for address in addresses:
        asked, deleted = asking.options(address), asking.delete(address)
        is_problem = deleted["Content-Type"] == "application/problem+json"
        if asked.status_code not in (200, 404) or deleted.status_code != 405 or not is_problem:
            wrong.add((address, asked.status_code, deleted.status_code))
        elif "OPTIONS" not in deleted["Allow"]:
            wrong.add((address, deleted["Allow"]))

    assert len(addresses) > 200
    assert wrong == set()


@pytest.mark.parametrize("path", ["lots/", "lots/none/", "reports/", "hives/", "extractions/"])
def test_head_answers_as_get_without_a_body(asking, path):
    read, asked = asking.get(f"/api/v1/{path}"), asking.head(f"/api/v1/{path}")

    assert (asked.status_code, asked["Content-Type"]) == (read.status_code, read["Content-Type"])
    assert asked.content == b""


def failing(error):
    def fail(*_arguments, **_named):
        raise error

    return fail


def test_a_fault_is_a_problem_that_tells_nothing_of_the_inside_and_is_noted(
    asking, monkeypatch, caplog
):
    builders.place("tank-1")
    monkeypatch.setattr(honey, "receive", failing(RuntimeError("secret inside")))

    with caplog.at_level(logging.ERROR, "django.request"):
        answer = post(asking)

    problem(answer, 500, "server_error")
    assert b"secret" not in answer.content
    assert "secret inside" in caplog.text


def test_a_database_that_is_away_is_a_problem_that_says_when_to_come_again(asking, monkeypatch):
    builders.place("tank-1")
    monkeypatch.setattr(honey, "receive", failing(OperationalError("server at 10.0.0.1 is gone")))

    answer = post(asking)

    problem(answer, 503, "unavailable")
    assert int(answer["Retry-After"]) > 0
    assert b"10.0.0.1" not in answer.content


def test_a_database_that_is_away_before_any_view_is_a_problem_too(asking, monkeypatch):
    monkeypatch.setattr(conventions, "read_again", failing(OperationalError("gone")))

    problem(post(asking), 503, "unavailable")


def test_who_tried_too_often_is_told_how_long_to_wait(asking, monkeypatch):
    too_many = TooManyTries("Try again in a minute.", wait_seconds=60)
    monkeypatch.setattr(sign_ins, "token_for", failing(too_many))

    answer = asking.post("/api/v1/token/", {"username": "owner", "password": "x", "name": "Till"})

    problem(answer, 429, "too_many_tries")
    assert answer["Retry-After"] == "60"


def test_a_session_that_cannot_be_saved_does_not_take_the_answer_of_the_act():
    request = RequestFactory().post("/api/v1/extractions/")
    request.session = SessionStore()
    request.session.create()
    request.session["seen"] = 1
    SessionStore(request.session.session_key).delete()
    answered = HttpResponse("recorded", status=201)

    answer = HouseSessionMiddleware(lambda request: answered).process_response(request, answered)

    assert (answer.status_code, answer.content) == (201, b"recorded")
    assert not answer.cookies
    # What it is there against.
    with pytest.raises(SessionInterrupted):
        SessionMiddleware(lambda request: answered).process_response(request, answered)


# ------------------------------------------------------------------ what is no body

NESTED = 30


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"\xff",
        b"\xef\xbb\xbf{}",
        b'{"grams": 1, "grams": 2}',
        b'{"grams": NaN}',
        b'{"grams": -Infinity}',
        b'{"grams": 1e999}',
        b'{"grams": ' + b"9" * 5000 + b"}",
        b'{"yard": "\\ud800"}',
        b'{"\\udfff": 1}',
        b'{"yard": "a\x00"}',
        b'{"yard": "a\\u0000"}',
        b"[" * NESTED + b"]" * NESTED,
        b'{"a":' * 100_000,
    ],
)
def test_what_readers_of_json_take_differently_is_refused(asking, raw):
    builders.place("tank-1")

    answer = asking.post(
        "/api/v1/extractions/",
        raw,
        content_type="application/json",
        headers={"Idempotency-Key": "k"},
    )

    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"


def test_a_name_that_comes_twice_among_very_many_is_found_in_time(asking):
    """A search for each name among all others would take minutes."""
    names = [f'"a{number}": 1' for number in range(100_000)]
    begun = process_time()

    answer = asking.post(
        "/api/v1/extractions/",
        "{" + ", ".join([*names, '"a99999": 2']) + "}",
        content_type="application/json",
        headers={"Idempotency-Key": "k"},
    )

    assert answer.status_code == 400
    assert '"a99999" comes twice' in answer.json()["detail"]
    assert process_time() - begun < 10


@pytest.mark.parametrize(
    "path", ["invoices/{}/", "runs/{}/record/", "lots/{}/", "payments/{}/undo/"]
)
@pytest.mark.parametrize("hole", ["9" * 30, "9" * 5000, "%ff", "%00", "☃"])
def test_whatever_is_in_an_address_is_a_problem(asking, path, hole):
    method = asking.get if path.count("/") == 2 else asking.post

    answer = method(f"/api/v1/{path.format(hole)}")

    assert answer.status_code in (400, 404, 405)
    assert answer["Content-Type"] == "application/problem+json"
