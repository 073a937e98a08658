"""What `web/security/README.md` promises of tests is there, and what holds for every address."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest
from django.conf import settings
from django.http import HttpResponseForbidden
from django.test import Client
from django.urls import reverse

from inventory.stock.services import honey
from tests import builders
from tests.web.test_permissions import addresses

TESTS = Path(settings.BASE_DIR) / "tests"
PAGE = Path(settings.BASE_DIR) / "apiary_sales" / "web" / "security" / "README.md"
NAMED = re.compile(r"`([\w/]+\.py)::(\w+)`")


@cache
def _tests_of(path: Path) -> set[str]:
    found = ast.parse(path.read_text()).body
    return {each.name for each in found if isinstance(each, ast.FunctionDef)}


def _rows(heading: str) -> list[list[str]]:
    """Return the cells of the table below a heading, without its first two lines."""
    text = PAGE.read_text().split(f"## {heading}\n")[1].split("\n## ")[0]
    rows = [line for line in text.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in row.strip("|").split("|")] for row in rows]


def test_every_test_that_the_page_names_is_there():
    named = NAMED.findall(PAGE.read_text())

    assert len(named) > 50
    missing = {
        f"{path}::{name}"
        for path, name in named
        if not (TESTS / path).exists() or name not in _tests_of(TESTS / path)
    }
    assert missing == set()


def test_each_threat_names_a_test_and_what_is_left():
    rows = _rows("Threats")[2:]

    assert len(rows) >= 20
    for who, stops, shows, left in rows:
        assert "" not in (who, stops, left), who
        assert NAMED.search(shows), who


def test_each_requirement_is_held_not_applicable_or_open_and_says_why():
    rows = [row for row in _rows("ASVS") if re.match(r"V\d+\.", row[0])]

    assert len(rows) > 100
    assert len({row[0] for row in rows}) == len(rows)
    for number, required, state, why in rows:
        assert state in ("held", "not applicable", "open"), number
        assert "" not in (required, why), number


def _headers_missing(response) -> set[str]:
    wanted = {
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
    }
    missing = {name for name, value in wanted.items() if response.headers.get(name) != value}
    if "frame-ancestors 'none'" not in response.headers.get("Content-Security-Policy", ""):
        missing.add("Content-Security-Policy")
    if "camera=()" not in response.headers.get("Permissions-Policy", ""):
        missing.add("Permissions-Policy")
    return missing


@pytest.mark.django_db
def test_every_kind_of_answer_carries_the_headers(client, monkeypatch):
    owner = Client(raise_request_exception=False)
    owner.force_login(builders.person("owner"))
    strict = Client(enforce_csrf_checks=True)
    tank = builders.place("tank-1")
    lot = builders.lot_in(tank, 100_000)

    def fails(**_arguments):
        raise RuntimeError

    monkeypatch.setattr(honey, "receive", fails)
    received = {
        "place": "tank-1",
        "grams": 1000,
        "season": 2026,
        "floral_source": "Clover",
        "extracted_on": "2026-07-20",
        "moisture_percent": "17.4",
    }
    key = {"Idempotency-Key": builders.new_key()}
    faulty = owner.post("/api/v1/extractions/", received, "application/json", headers=key)
    long_body = "x" * settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    answers = {
        (200, "page"): owner.get("/"),
        (200, "page to sign in"): client.get(reverse("accounts:sign_in")),
        (200, "style"): client.get("/static/web/app.css"),
        (200, "drawing"): client.get("/static/web/icons/house.svg"),
        (200, "paper"): owner.get(reverse("inventory:certificate", args=[lot.code])),
        (200, "reading"): owner.get(reverse("api:lot-list")),
        (200, "health"): client.get("/health/"),
        (302, "door"): client.get("/"),
        (403, "refusal"): strict.post(reverse("accounts:sign_in")),
        (404, "missing page"): owner.get("/nowhere/"),
        (404, "missing file"): client.get("/static/nowhere.css"),
        (404, "jar"): client.get("/j/nowhere/"),
        (405, "wrong method"): owner.post("/health/"),
        (413, "long body"): client.post("/", long_body, content_type="text/plain"),
        (401, "problem"): client.get(reverse("api:lot-list")),
        (413, "long problem"): client.post("/api/v1/", long_body, "application/json"),
        (500, "fault"): faulty,
    }

    assert {what: answer.status_code for (_status, what), answer in answers.items()} == {
        what: status for status, what in answers
    }
    for answer in answers.values():
        answer.close()
    missing = {what: _headers_missing(answer) for (_status, what), answer in answers.items()}
    assert {what: names for what, names in missing.items() if names} == {}


# Nobody is signed in there by a cookie: it takes a name and a password.
WITHOUT_A_FORM = {"api:token"}


def refused(_request, reason=""):
    """Say no with less work than the page of the house."""
    return HttpResponseForbidden(reason)


@pytest.mark.django_db
def test_no_other_site_can_send_anything_in_the_name_of_a_person(settings):
    settings.CSRF_FAILURE_VIEW = "tests.web.test_threats.refused"
    visitor = Client(enforce_csrf_checks=True, headers={"Origin": "https://elsewhere.example"})
    visitor.force_login(builders.person("owner"))

    # It is looked at before the method, and before what is asked.
    taken = {
        name
        for name, url in addresses()
        if visitor.post(url, content_type="application/json").status_code not in (403, 405)
    }

    assert taken == WITHOUT_A_FORM
