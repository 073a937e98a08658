import re
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse

from tests import builders

TEMPLATES = Path(settings.BASE_DIR) / "templates"


def policy(response) -> dict[str, str]:
    parts = [part.strip().split(" ", 1) for part in response["Content-Security-Policy"].split(";")]
    return {part[0]: part[1] for part in parts}


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["web:today", "accounts:sign_in", "admin:index"])
def test_every_page_takes_scripts_and_styles_from_this_server_alone(client, name):
    owner = builders.person("owner")
    if name != "accounts:sign_in":
        client.force_login(owner)

    response = client.get(reverse(name))

    assert response.status_code == 200
    told = policy(response)
    assert told["default-src"] == "'self'"
    assert told["script-src"] == "'self'"
    assert told["style-src"] == "'self'"
    assert told["object-src"] == "'none'"
    assert told["frame-ancestors"] == "'none'"
    assert "unsafe" not in response["Content-Security-Policy"]
    assert "camera=()" in response["Permissions-Policy"]


@pytest.mark.django_db
def test_a_refusal_and_a_missing_page_carry_the_policy_too(client):
    client.force_login(builders.person("stand"))

    assert policy(client.get("/nowhere/"))["script-src"] == "'self'"
    assert policy(client.get(reverse("accounts:people")))["script-src"] == "'self'"


def _pages() -> list[Path]:
    """Return the templates of pages and of their parts: documents for paper are no pages."""
    paths = sorted(TEMPLATES.rglob("*.html"))
    return [
        path
        for path in paths
        if path.name.startswith("_") or "extends" in path.read_text() or path.parent == TEMPLATES
    ]


REFUSED = (
    r"\sstyle\s*=",
    r"<style\b",
    r"<script(?![^>]*\bsrc=)(?![^>]*application/json)[^>]*>",
    r"\s(?:on[a-z]+|hx-on[^\s=]*)\s*=\s*[\"']",
    r"javascript:",
)


def test_no_page_carries_a_script_or_a_style_that_the_policy_would_refuse():
    found = [
        f"{path.relative_to(TEMPLATES)}: {said.group()}"
        for path in _pages()
        for refused in REFUSED
        for said in re.finditer(refused, path.read_text())
    ]

    assert found == []


def test_the_base_page_turns_off_what_htmx_would_need_unsafe_rules_for():
    config = re.search(
        r"name=\"htmx-config\"\s+content='([^']*)'", (TEMPLATES / "base.html").read_text()
    )

    assert '"allowEval": false' in config.group(1)
    assert '"includeIndicatorStyles": false' in config.group(1)
