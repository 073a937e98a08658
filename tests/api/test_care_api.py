"""The warming log and the cleaning log through the API: read, added to, and taken back."""

import json

import pytest

from inventory.stock.models import Cleaning, Place, Warming
from inventory.stock.services import cleaning
from tests import builders

pytestmark = pytest.mark.django_db

DAY = "2026-08-01"


@pytest.fixture
def call(client):
    def send(method, path, body=None, *, role="bottling", key=None):
        headers = {"Authorization": builders.authorization(role)}
        if key:
            headers["Idempotency-Key"] = key
        data = {} if body is None else {"data": json.dumps(body)}
        return getattr(client, method)(
            f"/api/v1/{path}", headers=headers, content_type="application/json", **data
        )

    return send


@pytest.fixture
def lot():
    return builders.lot_in(builders.place("tank-1", name="Tank 1"))


def warming(**fields):
    return {"place": "tank-1", "started_on": DAY, "ended_on": DAY, **fields}


def test_a_warming_is_recorded_with_the_lots_that_the_books_name(call, lot):
    made = call("post", "warmings/", warming(hours="6.5", highest_celsius="37.5"), key="w")

    assert made.status_code == 201
    told = made.json()
    assert (told["place"], told["lots"], told["hours"]) == ("tank-1", [lot.code], "6.5")
    assert (told["highest_celsius"], told["limit_celsius"]) == ("37.5", "38.0")
    assert (told["is_above_limit"], told["figures"], told["removed_by"]) == (False, [], None)
    assert call("get", f"warmings/?day_from={DAY}&day_until={DAY}").json()["results"] == [told]
    assert call("get", "warmings/?day_from=2026-08-02").json()["results"] == []
    assert call("post", "warmings/", warming(), key="w").status_code == 409


def test_above_the_limit_it_is_refused_until_it_is_confirmed(call, lot):
    refused = call("post", "warmings/", warming(highest_celsius=45), key="w")
    made = call(
        "post",
        "warmings/",
        warming(highest_celsius=45, above_limit_confirmed=True),
        key="w",
    )

    assert refused.status_code == 422
    assert [each["field"] for each in refused.json()["errors"]] == ["above_limit_confirmed"]
    assert (made.status_code, made.json()["is_above_limit"]) == (201, True)


def test_the_warmings_of_jars_are_asked_by_their_lot(call, lot):
    jars = builders.packed_lot(
        builders.size(), builders.place("shelf", Place.Kind.SHELF), parent=lot
    )
    made = call("post", "warmings/", warming(), key="w").json()

    found = call("get", f"lots/{jars.code}/warmings/", role="stand")

    assert found.json() == [made]
    assert call("get", "lots/none/warmings/").status_code == 404


def test_a_warming_is_taken_back_and_kept(call, lot):
    made = call("post", "warmings/", warming(), key="w").json()

    removed = call("post", f"warmings/{made['id']}/remove/")

    assert removed.json()["removed_by"] == "Bottling"
    assert call("post", f"warmings/{made['id']}/remove/").status_code == 409
    assert Warming.objects.count() == 1
    assert call("get", f"lots/{lot.code}/warmings/").json() == []


def test_a_schedule_is_added_changed_and_read(call, owner):
    told = {"name": "Floor", "kind": "room", "schedule": "days", "every_days": 7}

    made = call("post", "cleaning-tasks/", told)
    twice = call("post", "cleaning-tasks/", told)
    path = f"cleaning-tasks/{made.json()['id']}/"
    changed = call("post", path, {**told, "every_days": 14, "cleaned_with": "hot water"})

    assert made.status_code == 201
    assert [each["field"] for each in twice.json()["errors"]] == ["name"]
    assert (changed.json()["every_days"], changed.json()["cleaned_with"]) == (14, "hot water")
    [row] = call("get", "cleaning-tasks/", role="stand").json()["results"]
    assert (row["id"], row["task"]) == (changed.json()["id"], changed.json())
    assert (row["state"], row["day"], row["last_cleaned_on"]) == ("due", None, None)


def test_a_cleaning_is_marked_read_and_taken_back(call, owner):
    task = cleaning.save_task(name="Floor", kind="room", schedule="days", every_days=7)
    told = {"task": task.pk, "cleaned_on": DAY, "cleaned_by": "Suki", "cleaned_with": "water"}

    made = call("post", "cleanings/", told, role="stand", key="c")

    assert made.status_code == 201
    assert call("post", "cleanings/", told, role="stand", key="c").json() == made.json()
    assert (made.json()["task"], made.json()["cleaned_by"]) == ("Floor", "Suki")
    found = call("get", f"cleanings/?cleaned_on_from={DAY}&cleaned_on_until={DAY}").json()
    assert found["results"] == [made.json()]
    removed = call("post", f"cleanings/{made.json()['id']}/remove/", role="stand")
    assert removed.json()["removed_by"] == "Stand"
    assert call("post", f"cleanings/{made.json()['id']}/remove/").status_code == 409
    assert Cleaning.objects.count() == 1


@pytest.mark.parametrize(("path", "days"), [("warmings/", "day"), ("cleanings/", "cleaned_on")])
def test_days_that_can_not_be_are_told(call, owner, path, days):
    answer = call("get", f"{path}?{days}_from=2026-08-02&{days}_until={DAY}")

    assert answer.status_code == 400
    assert [each["field"] for each in answer.json()["errors"]] == [f"{days}_from"]


@pytest.mark.parametrize(
    ("role", "method", "path", "status"),
    [
        ("stand", "get", "warmings/", 403),
        ("stand", "post", "warmings/", 403),
        ("stand", "get", "cleanings/", 200),
        ("office", "post", "cleaning-tasks/", 403),
        ("office", "get", "warmings/", 200),
    ],
)
def test_each_role_reaches_what_it_needs(call, owner, role, method, path, status):
    body = None if method == "get" else {}

    assert call(method, path, body, role=role).status_code == status
