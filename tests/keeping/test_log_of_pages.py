"""A line of the log says who asked for what, and nothing that should stay a secret."""

import json
import logging
import stat

import pytest
from django.urls import reverse

from apiary_sales.keeping import log_files
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def lines(settings, tmp_path):
    """Write the log into a folder of the test's own; give a reader of its lines."""
    settings.LOG_DIR = str(tmp_path / "logs")
    level = logging.getLogger("apiary_sales").level
    handler = log_files.begin()
    yield lambda: [
        json.loads(line) for line in (tmp_path / "logs" / "honey.log").read_text().splitlines()
    ]
    log_files.end(handler)
    logging.getLogger("apiary_sales").setLevel(level)


def test_a_request_is_one_line_with_person_address_and_duration(client, lines):
    client.force_login(builders.person("office"))

    answer = client.get(reverse("accounts:account"), REMOTE_ADDR="192.0.2.7")

    [line] = lines()
    assert {name: line[name] for name in ("person", "address", "method", "path", "status")} == {
        "person": "office",
        "address": "192.0.2.7",
        "method": "GET",
        "path": "/account/",
        "status": 200,
    }
    assert line["id"] == answer.headers["X-Request-ID"]
    assert line["ms"] > 0
    assert line["time"].endswith("+00:00")


def test_no_line_holds_what_a_form_or_a_query_or_a_secret_address_says(client, lines):
    client.post(reverse("accounts:sign_in"), {"username": "maren", "password": "beeswax-twine"})
    client.get("/customers/?words=Lindqvist")
    client.get("/r/SECRETCODE/")

    text = json.dumps(lines())
    assert len(lines()) == 3
    for secret in ("beeswax-twine", "Lindqvist", "SECRETCODE"):
        assert secret not in text


def test_who_uses_the_api_is_in_the_line(client, lines):
    client.force_login(builders.person("owner"))

    client.get("/api/v1/places/")

    assert [line["person"] for line in lines()] == ["owner"]


def test_a_monitor_leaves_no_line_while_all_is_well(client, lines):
    client.get("/health/")

    assert lines() == []


def test_an_error_is_found_by_the_number_of_its_request(client, lines, monkeypatch):
    def broken(*_):
        raise RuntimeError("out of honey")

    client.raise_request_exception = False
    client.force_login(builders.person("owner"))
    monkeypatch.setattr("apiary_sales.accounts.queries.everyone", broken)

    answer = client.get(reverse("accounts:people"))

    error, request = lines()
    assert error["id"] == request["id"] == answer.headers["X-Request-ID"]
    assert request["status"] == 500
    assert "out of honey" in error["traceback"]


def test_the_log_goes_to_the_screen_where_no_file_is_wanted(settings):
    settings.LOG_DIR = "none"

    handler = log_files.begin()
    log_files.end(handler)

    assert log_files.path() is None
    assert type(handler) is logging.StreamHandler


def test_a_full_file_of_the_log_is_turned_over(settings, tmp_path, monkeypatch):
    monkeypatch.setattr(log_files, "FILE_MAX", 1_000)
    settings.LOG_DIR = str(tmp_path / "logs")
    handler = log_files.begin()
    try:
        for _ in range(20):
            handler.handle(logging.makeLogRecord({"msg": "x" * 90, "levelno": 30, "name": "a"}))
    finally:
        log_files.end(handler)

    files = sorted(path.name for path in (tmp_path / "logs").iterdir())
    assert files[:2] == ["honey.log", "honey.log.1"]
    assert stat.S_IMODE((tmp_path / "logs").stat().st_mode) == 0o700
