"""The pages about the API, and the description that they and programs read."""

import json
import re
from urllib.parse import quote

import jsonschema
import pytest

from apiary_sales.accounts.models import ApiToken
from apiary_sales.api import description, docs, examples, subjects, tour
from tests import builders

SCHEMA = "/api/v1/schema/"
DOCS = "/api/v1/docs/"


@pytest.fixture
def kept(db):
    return description.current()


def test_every_operation_is_told_of(kept):
    lacking = {
        (path, method)
        for path, method, operation in docs.operations(kept)
        if not operation["summary"] or not operation["description"] or len(operation["tags"]) != 1
    }

    assert lacking == set()


def test_no_two_operations_have_one_name(kept):
    names = [operation["operationId"] for _path, _method, operation in docs.operations(kept)]

    assert [name for name in names if names.count(name) > 1 or not name.isidentifier()] == []


def test_each_beginning_of_a_subject_is_one_of_an_address(kept):
    beginnings = {path.split("/")[3] for path in kept.content["paths"]}

    assert sorted(subjects.BY_BEGINNING) == sorted(beginnings)
    assert sum(len(each.beginnings) for each in subjects.SUBJECTS) == len(beginnings)


@pytest.mark.parametrize("role", ["bottling", "stand"])
def test_the_roles_that_are_told_may_ask_and_no_others(client, kept, role):
    """Reading without a hole in the address; what an act needs is read from the same place."""
    differing = {}
    headers = {"Authorization": builders.authorization(role)}
    for path, method, operation in docs.operations(kept):
        if method == "get" and "{" not in path:
            is_refused = client.get(path, headers=headers).status_code == 403
            if is_refused == (role in operation["x-roles"]):
                differing[path] = operation["x-roles"]

    assert differing == {}


def test_a_key_is_kept_from_what_is_not_for_its_scope(client, kept):
    """Each operation is asked by the owner, whom nothing else keeps from it."""
    key = {"Authorization": builders.authorization("owner"), "Idempotency-Key": "walk"}
    differing = {}
    for path, method, operation in docs.operations(kept):
        if "x-scopes" not in operation:
            continue
        told = operation["x-scopes"]
        assert "read write" in told
        assert ("read" in told) == (method == "get"), path
        assert f"For keys with the scope `{'` or `'.join(told)}`." in operation["description"]
        # Reading with a key for reading is walked elsewhere.
        for scope in ["sell"] if method == "get" else ["sell", "read"]:
            ApiToken.objects.update(scopes=scope)
            url = re.sub(r"{\w+}", "1", path)
            answer = client.generic(method.upper(), url, "{}", "application/json", headers=key)
            is_kept = answer.status_code == 403 and "This key is for" in answer.json()["detail"]
            # Where a day or another kind of name belongs into the address, nothing is there.
            if is_kept == (scope in told) and answer.status_code != 404:
                differing[method, path, scope] = told

    assert differing == {}


def test_examples_fit_what_is_described(kept):
    problems = []
    fitting = 0
    for path, method, operation in docs.operations(kept):
        parts = [operation.get("requestBody", {}), *operation["responses"].values()]
        for content in (each for part in parts for each in part.get("content", {}).values()):
            for example in content.get("examples", {}).values():
                whole = content["schema"] | {"components": kept.content["components"]}
                checker = jsonschema.Draft202012Validator(whole)
                problems += [
                    (path, method, str(each)) for each in checker.iter_errors(example["value"])
                ]
                fitting += 1

    assert problems == []
    # Of what the tour sends and is answered, each address once.
    assert fitting == 29


def test_a_path_is_found_for_an_address():
    paths = ["/api/v1/runs/", "/api/v1/runs/{number}/", "/api/v1/runs/usual/"]

    assert examples.described("/api/v1/runs/W26-001/", paths) == "/api/v1/runs/{number}/"
    assert examples.described("/api/v1/runs/usual/", paths) == "/api/v1/runs/usual/"


@pytest.mark.django_db
def test_the_description_is_json_or_yaml_and_says_when_it_is_the_same(client):
    usual = client.get(SCHEMA)
    again = client.get(SCHEMA, headers={"If-None-Match": usual["ETag"]})
    as_yaml = client.get(SCHEMA, headers={"Accept": "application/yaml"})

    assert usual["Content-Type"].startswith("application/vnd.oai.openapi+json")
    assert usual.json()["openapi"] == "3.1.1"
    assert (again.status_code, again.content) == (304, b"")
    assert as_yaml["Content-Type"].startswith("application/yaml")
    assert as_yaml["ETag"] != usual["ETag"]
    assert as_yaml.content.startswith(b"openapi: 3.1.1\ninfo:\n  title: Honey house\n")


@pytest.mark.django_db
def test_a_parameter_that_the_description_does_not_take_is_refused_as_a_problem(client):
    answer = client.get(SCHEMA, {"colour": "blue"})

    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")


@pytest.mark.django_db
@pytest.mark.parametrize("address", ["/api/", "/api/v1/", DOCS])
def test_the_beginnings_of_the_api_lead_there_who_has_signed_in(client, owner, address):
    led = client.get(address, follow=True)
    client.force_login(owner)

    assert led.redirect_chain == [(f"/account/sign-in/?next={quote(address)}", 302)]
    assert client.get(address, follow=True).request["PATH_INFO"] == DOCS


def test_each_subject_has_a_page_with_all_its_operations(client, kept):
    client.force_login(builders.person("stand"))
    shown = set()
    for subject in subjects.SUBJECTS:
        page = client.get(f"{DOCS}{subject.slug}/").content.decode()
        shown |= set(re.findall(r'<section class="card api-operation" id="(\w+)"', page))
        # What a page leads to is on it.
        targets = set(re.findall(r'href="#([\w-]+)"', page)) - {"main"}
        assert targets <= set(re.findall(r'id="([\w-]+)"', page))
        # Nothing is loaded from elsewhere, and no script or style is in the page.
        assert re.findall(r'(?:src|href)="(?:https?:)?//', page) == []
        assert re.findall(r"<style|\sstyle=|<script(?![^>]*\ssrc=)|\son\w+=", page) == []

    assert shown == {operation["operationId"] for _, _, operation in docs.operations(kept)}


@pytest.mark.django_db
def test_an_operation_is_told_with_who_may_ask_its_fields_and_a_command(client):
    client.force_login(builders.person("bottling"))

    page = client.get(f"{DOCS}honey/").content.decode()

    [told] = re.findall(r'<section [^>]*id="extractions_create".*?</section>', page, re.DOTALL)
    assert "Receive an extraction into a vessel." in told
    assert "Needs <code>inventory.move_honey</code>: owner, bottling, office." in told
    assert "text, at most 120 characters" in told
    assert "&quot;floral_source&quot;: &quot;Clover&quot;" in told


@pytest.mark.django_db
def test_the_pages_are_in_the_language_of_the_reader(client):
    client.force_login(builders.person("owner"))

    page = client.get(f"{DOCS}tour/", headers={"Accept-Language": "es"}).content.decode()

    assert '<html lang="es"' in page
    assert '<article class="words" lang="en">' in page


@pytest.mark.django_db
def test_there_is_no_page_of_another_subject(client):
    client.force_login(builders.person("owner"))

    assert client.get(f"{DOCS}bees/").status_code == 404


@pytest.mark.django_db
def test_the_tour_is_shown_with_its_commands(client):
    client.force_login(builders.person("owner"))

    page = client.get(f"{DOCS}tour/").content.decode()

    assert page.count('<pre class="api-code"') == sum(
        block.kind in ("sh", "json", "plain") for block in tour.blocks()
    )
    assert json.dumps({"kind": "stand"})[1:-1].replace('"', "&quot;") in page
