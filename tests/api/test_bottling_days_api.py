"""Bottling days through the API: saved, recorded all at once, and settled."""

import pytest

from inventory.bottling.models import BottlingDay, BottlingRun, EstimateSettlement
from inventory.stock.queries import books
from tests import builders
from tests.inventory import day_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return day_room.set_up()


@pytest.fixture
def send(client):
    def make(path, body, *, role="bottling", key=None):
        client.force_login(builders.person(role))
        headers = {"Idempotency-Key": key or builders.new_key()}
        return client.post(
            f"/api/v1/{path}", body, content_type="application/json", headers=headers
        )

    return make


def body(room, **changes):
    return {
        "source": "tank-1",
        "bottled_on": str(builders.today()),
        "target": "shelf",
        "celsius": "20.0",
        "rows": [
            {"product": room.half.code, "pieces_filled": 200},
            {"product": room.pound.code, "pieces_filled": 144, "pieces_broken": 1},
        ],
    } | changes


def test_a_day_is_recorded_and_read_back(send, client, room):
    answer = send("bottling-days/", body(room, before_mm=450, after_mm=351, skimmed_grams=500))

    assert answer.status_code == 201, answer.content
    made = answer.json()
    assert made["status"] == "recorded"
    assert [row["run"]["drawn_by"] for row in made["rows"]] == ["dip", "dip"]
    assert {row["run"]["status"] for row in made["rows"]} == {"recorded"}
    assert client.get("/api/v1/bottling-days/").json()["results"] == [made]
    assert list(books.faults()) == []


def test_a_day_sent_twice_is_recorded_once(send, room):
    first = send("bottling-days/", body(room), key="once")

    answer = send("bottling-days/", body(room), key="once")

    assert (answer.status_code, answer.content) == (201, first.content)
    assert BottlingRun.objects.count() == 2


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"rows": []}, "rows"),
        ({"before_mm": 1001}, "before_mm"),
        ({"before_mm": 450, "after_mm": 450}, "after_mm"),
        ({"before_grams": 9}, "after_grams"),
        ({"source": "nowhere"}, "source"),
        ({"skimmed_grams": 600_000}, "skimmed_grams"),
    ],
)
def test_what_is_wrong_is_named_and_changes_nothing(send, room, changes, field):
    answer = send("bottling-days/", body(room, **changes))

    assert answer.status_code in (400, 409, 422)
    assert [error["field"] for error in answer.json()["errors"]] == [field]
    assert not BottlingDay.objects.exists()
    assert day_room.in_tank(room) == 500_000


def test_what_is_wrong_with_a_row_is_named_there(send, room):
    told = body(room)
    told["rows"][1]["lot_code"] = "not a code"

    answer = send("bottling-days/", told)

    assert [error["field"] for error in answer.json()["errors"]] == ["rows.1.lot_code"]


def test_a_sheet_is_kept_and_replaced(send, room):
    first = send("bottling-day-sheets/", body(room, before_mm=450)).json()

    answer = send("bottling-day-sheets/", body(room, before_mm=450, version=first["version"]))

    assert answer.status_code == 200
    assert answer.json()["version"] == first["version"] + 1
    assert answer.json()["status"] == "draft"
    assert BottlingDay.objects.count() == 1
    assert not BottlingRun.objects.exists()


def test_estimated_runs_are_settled(send, room):
    send("bottling-days/", body(room))
    told = {
        "source": "tank-1",
        "measured_on": str(builders.today()),
        "honey_grams": 388_000,
    }

    answer = send("estimates-settled/", told)

    assert answer.status_code == 201, answer.content
    settled = answer.json()["settled_runs"]
    assert sum(run["drawn_grams"] for run in settled) == 500_000 - 388_000
    assert EstimateSettlement.objects.count() == 1
    again = send("estimates-settled/", told)
    assert again.status_code == 409


def test_a_run_is_recorded_without_its_honey(send, room):
    run = day_room.plan(room, room.pound)

    answer = send(f"runs/{run.number}/record/", {"pieces_filled": 100})

    assert answer.json()["drawn_by"] == "estimated"
    assert answer.json()["drawn_grams"] == 45_359


@pytest.mark.parametrize("path", ["bottling-days/", "bottling-day-sheets/", "estimates-settled/"])
def test_who_does_not_bottle_is_kept_from_it(send, room, path):
    assert send(path, body(room), role="stand").status_code == 403
