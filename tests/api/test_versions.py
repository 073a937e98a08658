"""Nobody undoes by the API what another changed: ETag, If-None-Match and If-Match."""

import json

import pytest
from django.test import Client

from apiary_sales.api import versions
from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import customers
from inventory.stock.models import ProductionSettings
from tests import builders
from tests.rivals import together

pytestmark = pytest.mark.django_db

SETTINGS = "/api/v1/production-settings/"


@pytest.fixture
def grocery():
    return builders.customer(phone="111")


@pytest.fixture
def address(grocery):
    return f"/api/v1/customers/{grocery.pk}/"


def headers(role="owner", **more):
    given = {name.replace("_", "-"): value for name, value in more.items() if value is not None}
    return {"Authorization": builders.authorization(role), **given}


@pytest.fixture
def read(client):
    return lambda path, **more: client.get(path, headers=headers(**more))


@pytest.fixture
def send(client):
    def make(path, body, *, method="post", **more):
        send_it = getattr(client, method)
        body = json.dumps(body)
        return send_it(path, body, content_type="application/json", headers=headers(**more))

    return make


def test_a_thing_has_a_strong_tag_that_changes_with_it_alone(read, grocery, address):
    first, again = read(address), read(address)
    customers.change(grocery, phone="222")
    changed = read(address)

    assert first["ETag"] == again["ETag"] != changed["ETag"]
    assert first["ETag"].startswith('"')
    assert "ETag" not in read("/api/v1/customers/")


def test_who_has_the_version_is_told_so_without_the_thing(read, grocery, address):
    etag = read(address)["ETag"]

    unchanged = read(address, If_None_Match=f'"other", {etag}')
    customers.change(grocery, phone="222")
    changed = read(address, If_None_Match=etag)

    assert (unchanged.status_code, unchanged.content, unchanged["ETag"]) == (304, b"", etag)
    assert (changed.status_code, changed.json()["id"]) == (200, grocery.pk)


def test_an_act_on_the_version_that_is_there_is_done_and_tells_the_new_one(read, send, address):
    etag = read(address)["ETag"]

    answer = send(f"{address}change/", {"phone": "222"}, If_Match=etag)

    assert answer.status_code == 200
    assert answer["ETag"] == read(address)["ETag"] != etag


def test_an_act_on_an_earlier_version_changes_nothing(read, send, grocery, address):
    etag = read(address)["ETag"]
    customers.change(grocery, note="Rings twice")

    answer = send(f"{address}change/", {"phone": "222"}, If_Match=etag)

    assert (answer.status_code, answer.json()["code"]) == (412, "changed_meanwhile")
    assert answer["ETag"] == read(address)["ETag"]
    assert answer["Content-Type"] == "application/problem+json"
    assert Customer.objects.get().phone == "111"


@pytest.mark.parametrize(
    ("tag", "status"), [("*", 200), ('"x"', 412), ("W/{}", 412), ('"x", {}', 200), ("x", 400)]
)
def test_a_tag_matches_as_the_standard_says(read, send, address, tag, status):
    tag = tag.format(read(address)["ETag"])

    assert send(f"{address}change/", {"phone": "222"}, If_Match=tag).status_code == status


def test_an_act_sent_again_is_answered_as_the_first_time_whatever_is_there_now(read, send, address):
    etag = read(address)["ETag"]
    asked = {"If_Match": etag, "Idempotency_Key": "one"}
    first = send(f"{address}change/", {"phone": "222"}, **asked)

    again = send(f"{address}change/", {"phone": "222"}, **asked)

    assert (again.status_code, again.json()) == (200, first.json())
    assert again["Idempotency-Replayed"] == "true"


def test_what_replaces_the_whole_has_to_say_which_version(read, send):
    whole = read(SETTINGS).json() | {"setting_days": 3}

    refused = send(SETTINGS, whole, method="put")
    done = send(SETTINGS, whole, method="put", If_Match=read(SETTINGS)["ETag"])
    late = send(SETTINGS, whole, method="put", If_Match=refused.headers.get("ETag", '"x"'))

    assert (refused.status_code, refused.json()["code"]) == (428, "if_match_required")
    assert (done.status_code, late.status_code) == (200, 412)
    assert ProductionSettings.current().setting_days == 3
    assert send(SETTINGS, whole, method="put", If_Match="*").status_code == 200


def test_where_nothing_has_a_tag_none_is_taken(send):
    answer = send("/api/v1/customers-added/", {"name": "Alder Shop"}, If_Match='"x"')

    assert answer.status_code == 400
    assert not Customer.objects.filter(name="Alder Shop").exists()


def test_of_a_thing_that_is_not_there_the_act_says_so(send):
    answer = send("/api/v1/customers/999/change/", {"phone": "222"}, If_Match="*")

    assert answer.status_code == 404


@pytest.mark.parametrize(
    ("act", "thing"),
    [
        ("/api/v1/orders/S-1/cancel/", "/api/v1/orders/S-1/"),
        ("/api/v1/quotes/S-1/accept/", "/api/v1/orders/S-1/"),
        ("/api/v1/market-days/3/load/undo/", "/api/v1/market-days/3/"),
        ("/api/v1/lots/24-A/jar/release/", "/api/v1/lots/24-A/"),
        ("/api/v1/products/jar/prices/", "/api/v1/prices/jar/"),
        ("/api/v1/production-settings/", "/api/v1/production-settings/"),
    ],
)
def test_each_act_is_checked_against_what_its_thing_shows(act, thing):
    assert versions.address_of(versions.shown_at(act)) == thing


def test_the_description_says_where_tags_are_and_what_they_refuse(client):
    answer = client.get("/api/v1/schema/", headers={"Accept": "application/vnd.oai.openapi+json"})
    paths = json.loads(answer.content)["paths"]

    reading = paths["/api/v1/customers/{id}/"]["get"]
    change = paths["/api/v1/customers/{id}/change/"]["post"]
    replace = paths["/api/v1/production-settings/"]["put"]
    assert "ETag" in reading["responses"]["200"]["headers"]
    assert "304" in reading["responses"]
    assert "412" in change["responses"]
    assert {"412", "428"} <= replace["responses"].keys()
    wanted = {each["name"]: each.get("required") for each in replace["parameters"]}
    assert wanted["If-Match"] is True


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_of_two_acts_on_one_version_at_the_same_moment_one_is_done(read, grocery, address):
    etag = read(address)["ETag"]
    signed = headers(If_Match=etag)

    def change(phone):
        return Client().post(
            f"{address}change/",
            json.dumps({"phone": phone}),
            content_type="application/json",
            headers=signed,
        )

    answers = together(lambda: change("222"), lambda: change("333"))

    assert sorted(each.status_code for each in answers) == [200, 412]
    won = answers[0].status_code == 200
    assert Customer.objects.get().phone == ("222" if won else "333")
