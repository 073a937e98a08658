"""Blends through the API: searched for, drafted, changed, carried out, dropped."""

from decimal import Decimal
from itertools import count

import pytest

from inventory.stock.models import Balance, BlendPlan, Posting
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def house():
    light, dark = builders.place("drum-1", "drum"), builders.place("drum-2", "drum")
    builders.lot_in(light, 200_000, colour_mm="20", moisture_percent="17.0", cost_cents=40_000)
    builders.lot_in(dark, 200_000, colour_mm="60", moisture_percent="19.0", cost_cents=20_000)
    return builders.place("tank-1")


@pytest.fixture
def send(client):
    keys = (f"sent-{number}" for number in count())

    def make(path, body=None, *, role="owner", key=None):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{path}",
            {} if body is None else body,
            content_type="application/json",
            headers={"Idempotency-Key": key or next(keys)},
        )

    return make


@pytest.fixture
def read(client):
    def make(path, *, role="owner", **query):
        client.force_login(builders.person(role))
        return client.get(f"/api/v1/{path}", query)

    return make


def body(**changes):
    return {
        "target": "tank-1",
        "sources": [{"place": "drum-1", "grams": 70_000}, {"place": "drum-2", "grams": 30_000}],
        "limits": {"grams_min": 100_000, "colour_mm_max": "34.0", "moisture_percent_max": "18.60"},
        "buyer": "Corner Packer",
        **changes,
    }


def fields(answer):
    assert answer.status_code in (400, 409, 422), answer.content
    return [error["field"] for error in answer.json()["errors"]]


def test_a_blend_is_searched_for_at_the_least_value(read, house):
    said = read("blend-search/", grams_min=100_000, colour_class_max="White").json()

    assert [(line["place"], line["grams"]) for line in said["blend"]["lines"]] == [
        ("drum-1", 65_000),
        ("drum-2", 35_000),
    ]
    assert said["blend"]["value_cents"] == 16_500
    assert said["blend"]["colour_mm"] == "34.0"
    assert said["blend"]["moisture_percent"] == "17.70"
    assert [line["value_from"] for line in said["blend"]["lines"]] == ["cost", "cost"]
    assert [line["is_above_moisture_limit"] for line in said["blend"]["lines"]] == [False, True]
    assert said["ways_out"] == []


def test_a_search_keeps_out_uses_all_and_takes_other_values(read, house):
    def found(**query):
        said = read("blend-search/", grams_min=100_000, **query).json()
        return {line["place"]: line["grams"] for line in said["blend"]["lines"]}

    assert found() == {"drum-2": 100_000}
    assert found(keep_out="drum-2") == {"drum-1": 100_000}
    assert found(grams_max=300_000, use_all="drum-1") == {"drum-1": 200_000}
    assert found(least_grams="drum-1:4000") == {"drum-1": 4_000, "drum-2": 96_000}
    assert found(value_per_pound="drum-1:0.01") == {"drum-1": 100_000}
    assert found(drums_whole="true") == {"drum-2": 200_000}


def test_a_search_says_what_stands_in_the_way(read, house):
    said = read("blend-search/", grams_min=100_000, colour_mm_max="10").json()

    assert said["blend"] is None
    assert [(way["limit"], way["nearest"]) for way in said["ways_out"]] == [("colour_max", "20.00")]


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ({}, "grams_min"),
        ({"grams_min": "x"}, "grams_min"),
        ({"grams_min": 10, "grams_max": 9}, "grams_max"),
        ({"grams_min": 10, "colour_class": "Purple"}, "colour_class"),
        ({"grams_min": 10, "colour_class": "White", "colour_mm_max": "30"}, "colour_class"),
        ({"grams_min": 10, "colour_mm_min": "30", "colour_mm_max": "30.5"}, "colour_mm_max"),
        ({"grams_min": 10, "moisture_percent_max": "9"}, "moisture_percent_max"),
        ({"grams_min": 10, "target": "no-such"}, "target"),
        ({"grams_min": 10, "keep_out": "no-such"}, "keep_out.0"),
        ({"grams_min": 10, "least_grams": "drum-1"}, "least_grams.0"),
        ({"grams_min": 10, "least_grams": "drum-1:999999999"}, "least_grams"),
        ({"grams_min": 10, "value_per_pound": "no-such:1.5"}, "value_per_pound"),
    ],
)
def test_what_is_wrong_with_a_search_is_named(read, house, query, field):
    assert field in fields(read("blend-search/", **query))


def test_a_plan_is_drafted_changed_and_carried_out(send, read, house):
    made = send("blend-plans/", body(), key="once")
    assert made.status_code == 201, made.content
    number = made.json()["number"]
    assert made.json()["status"] == "draft"
    assert [(row["place"], row["grams"]) for row in made.json()["lines"]] == [
        ("drum-1", 70_000),
        ("drum-2", 30_000),
    ]
    again = send("blend-plans/", body(), key="once")
    assert (again.status_code, again.json()) == (201, made.json())

    changed = send(
        f"blend-plans/{number}/change/", {"sources": [{"place": "drum-1", "grams": 99_000}]}
    )
    assert changed.json()["lines"][0]["grams"] == 99_000

    poured = send(
        f"blend-plans/{number}/carry-out/",
        {"sources": [{"place": "drum-1", "grams": 98_000}], "note": "Scale 2"},
    )
    assert poured.status_code == 201, poured.content
    assert Balance.objects.in_vessel(house).quantity == 98_000
    assert Posting.objects.get(pk=poured.json()["id"]).note == "Scale 2"
    shown = read(f"blend-plans/{number}/").json()
    assert (shown["status"], shown["lines"][0]["poured_grams"]) == ("carried_out", 98_000)
    assert [row["number"] for row in read("blend-plans/").json()["results"]] == [number]
    paper = read(f"blend-plans/{number}/worksheet.pdf")
    assert paper.content.startswith(b"%PDF-")


def test_a_plan_is_carried_out_as_it_was_planned(send, house):
    number = send("blend-plans/", body()).json()["number"]

    assert send(f"blend-plans/{number}/carry-out/").status_code == 201
    assert Balance.objects.in_vessel(house).lot.colour_mm == Decimal("32.0")
    assert send(f"blend-plans/{number}/carry-out/").status_code == 409


def test_a_plan_is_dropped_once(send, house):
    number = send("blend-plans/", body()).json()["number"]

    assert send(f"blend-plans/{number}/drop/", {"reason": "Sold"}).json()["status"] == "dropped"
    assert send(f"blend-plans/{number}/drop/").status_code == 409


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"target": "no-such"}, "target"),
        ({"target": "drum-1"}, "target"),
        ({"sources": []}, "sources.non_field_errors"),
        ({"sources": [{"place": "drum-1", "grams": 200_001}]}, "sources.0.grams"),
        ({"sources": [{"place": "drum-1", "grams": 0}]}, "sources.0.grams"),
        ({"sources": [{"place": "drum-1", "grams": 5}] * 2}, "sources.1.place"),
        ({"limits": {"grams_min": 10, "grams_max": 9}}, "limits"),
        ({"limits": {"grams_min": 10, "colour_mm_min": "200"}}, "limits.colour_mm_min"),
        ({"limits": None}, "limits"),
    ],
)
def test_what_is_wrong_with_a_draft_is_named(send, house, changes, field):
    named = fields(send("blend-plans/", body(**changes)))

    assert field.removesuffix(".non_field_errors") in named
    assert not BlendPlan.objects.exists()


def test_blends_are_for_those_who_move_honey(send, read, house):
    number = send("blend-plans/", body()).json()["number"]

    for role, may in (("bottling", True), ("stand", False)):
        assert (read("blend-plans/", role=role).status_code == 200) is may
        assert (read(f"blend-plans/{number}/", role=role).status_code == 200) is may
        assert (send("blend-plans/", body(), role=role).status_code == 201) is may
    # Values are shown to those alone who see prices.
    assert read("blend-search/", role="bottling", grams_min=10).status_code == 403
    assert read("blend-search/", role="office", grams_min=10).status_code == 200
