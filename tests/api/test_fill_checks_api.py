"""Fill checks and the control chart through the API."""

import pytest

from inventory.bottling.models import FillCheck
from inventory.stock.models import Lot, TankShape
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return bottling_room.set_up()


@pytest.fixture
def send(client):
    def make(path, body, *, role="bottling", key=None):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{path}",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": key or builders.new_key()},
        )

    return make


def read(client, path, role="stand"):
    client.force_login(builders.person(role))
    answer = client.get(f"/api/v1/{path}")
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_the_nozzle_is_checked_and_the_run_is_judged(client, send, room):
    run = bottling_room.plan(room)
    path = f"runs/{run.number}/fill-checks/"

    before = send(path, {"scheme": "us", "weights_milligrams": [455_000, 456_000]})
    assert before.status_code == 201
    said = before.json()
    assert (said["has_passed"], said["lot_pieces"], said["more_wanted"]) == (None, None, None)
    assert said["average_milligrams"] == 455_500

    bottling_room.record(run)
    few = send(path, {"scheme": "us", "weights_milligrams": [440_000] * 5}).json()
    assert (few["has_passed"], few["lot_pieces"], few["more_wanted"]) == (None, 96, 7)

    body = {"scheme": "us", "weights_milligrams": [440_000] * 7, "continues": few["id"]}
    judged = send(path, body).json()
    assert (judged["has_passed"], judged["more_wanted"]) == (False, 0)
    assert judged["weights_milligrams"] == [440_000] * 12
    assert judged["reason"].startswith("Failed.")
    run.refresh_from_db()
    assert Lot.objects.get(pk=run.packed_lot_id).is_on_hold

    assert [row["id"] for row in read(client, path)] == [judged["id"], said["id"]]


def test_the_same_key_keeps_one_check(send, room):
    path = f"runs/{bottling_room.recorded(room).number}/fill-checks/"
    body = {"scheme": "us", "weights_milligrams": [456_000]}

    first, second = (send(path, body, key="once") for _time in range(2))

    assert (first.status_code, second.status_code) == (201, 201)
    assert FillCheck.objects.count() == 1


def test_weights_that_no_jar_has_are_named_at_their_field(send, room):
    path = f"runs/{bottling_room.recorded(room).number}/fill-checks/"

    refused = send(path, {"scheme": "us", "weights_milligrams": [456_000, 456]})

    assert refused.status_code == 422
    assert [error["field"] for error in refused.json()["errors"]] == ["weights_milligrams"]
    assert FillCheck.objects.count() == 0


def test_only_those_who_bottle_record_checks(send, room):
    path = f"runs/{bottling_room.recorded(room).number}/fill-checks/"

    refused = send(path, {"scheme": "us", "weights_milligrams": [456_000]}, role="stand")

    assert refused.status_code == 403


def test_the_control_chart_has_a_point_a_check(client, send, room):
    path = f"sizes/{room.size.code}/fill-chart/"
    assert read(client, path) == {
        "size": room.size.code,
        "size_id": room.size.pk,
        "labelled_milligrams": 453_592,
        "centre_milligrams": None,
        "sigma_milligrams": None,
        "is_provisional": True,
        "points": [],
    }
    for weights in ([455_000, 457_000], [456_000, 458_000]):
        run = bottling_room.recorded(room)
        send(f"runs/{run.number}/fill-checks/", {"scheme": "us", "weights_milligrams": weights})

    chart = read(client, path)

    # Both deviations are √2 g; √2 / 0.7979 (c4 of a pair, ASTM) is 1.7724 g.
    assert (chart["centre_milligrams"], chart["sigma_milligrams"]) == (456_500, 1_772)
    assert [point["average_milligrams"] for point in chart["points"]] == [456_000, 457_000]
    assert chart["points"][1] | {"check": 0, "checked_at": ""} == {
        "check": 0,
        "run": run.number,
        "run_id": run.pk,
        "checked_at": "",
        "is_before_run": False,
        "pieces": 2,
        "average_milligrams": 457_000,
        # 456.5 ± 1.880 × 2, by the range of a pair (ASTM, A2).
        "lower_limit_milligrams": 452_740,
        "upper_limit_milligrams": 460_260,
        "is_outside": False,
    }


def test_the_dips_of_a_run_are_kept_and_read_beside_the_books(client, send, room):
    TankShape.objects.create(place=room.tank, form="upright", diameter_mm=1000, length_mm=1200)
    run = bottling_room.plan(room)
    body = {
        "pieces_filled": 96,
        "drawn_grams": 45_000,
        "loss_grams": 500,
        "before_mm": 180,
        "after_mm": 140,
    }

    assert send(f"runs/{run.number}/record/", body).status_code == 200

    dips = read(client, f"runs/{run.number}/")["dips"]
    assert [(dip["moment"], dip["depth_mm"], dip["book_grams"]) for dip in dips] == [
        ("before", 180, 200_000),
        ("after", 140, 155_000),
    ]
    # Half of 3.2 mm over π × 50² cm² is 1.257 L, at 17.4 % and 32 °C 1.4113 kg/L.
    assert [dip["stick_grams"] for dip in dips] == [1_774, 1_774]


def test_a_dip_deeper_than_the_tank_is_named_at_its_field(send, room):
    TankShape.objects.create(place=room.tank, form="upright", diameter_mm=1000, length_mm=1200)
    run = bottling_room.plan(room)
    body = {"pieces_filled": 96, "drawn_grams": 45_000, "loss_grams": 500, "after_mm": 1_201}

    refused = send(f"runs/{run.number}/record/", body)

    assert refused.status_code == 422
    assert [error["field"] for error in refused.json()["errors"]] == ["after_mm"]
