"""What was recorded wrong is put right through the API, by the services of the pages."""

from decimal import Decimal
from itertools import count

import pytest

from inventory.bottling.models import PartReceipt, RunCorrection
from inventory.bottling.services import goods
from inventory.stock.models import Balance
from inventory.stock.queries import books
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return bottling_room.set_up()


@pytest.fixture
def send(client):
    keys = (f"sent-{number}" for number in count())

    def make(path, body, *, role="owner", key=None):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{path}",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": key or next(keys)},
        )

    return make


def test_a_run_is_corrected_by_what_is_sent_alone(send, room):
    run = bottling_room.recorded(room)

    answer = send(
        f"runs/{run.number}/correct/",
        {
            "pieces_filled": 95,
            "parts": [{"part": room.lid.code, "pieces": 99}],
            "reason": "Miscounted",
        },
        role="bottling",
    )

    assert answer.status_code == 200
    assert (answer.json()["pieces_filled"], answer.json()["lot_code"]) == (95, run.lot_code)
    run.refresh_from_db()
    assert (run.pieces_filled, run.drawn_grams, run.labour_minutes) == (95, 45_000, 90)
    kept = RunCorrection.objects.get()
    assert kept.after["parts"] == [["Case", 8], ["Jar", 97], ["Lid", 99]]
    assert list(books.faults()) == []


def test_a_correction_that_is_sent_twice_is_made_once(send, room):
    run = bottling_room.recorded(room)
    body = {"pieces_filled": 95, "reason": "Miscounted"}

    first = send(f"runs/{run.number}/correct/", body, key="twice")
    second = send(f"runs/{run.number}/correct/", body, key="twice")

    assert (first.status_code, second.status_code) == (200, 200)
    assert RunCorrection.objects.count() == 1


def test_honey_that_came_in_is_corrected(send, room):
    answer = send(
        f"lots/{room.lot.code}/correct/",
        {
            "grams_by_vessel": [{"vessel": room.tank.code, "grams": 190_000}],
            "moisture_percent": "18.1",
            "cost_cents": 110_000,
            "reason": "Misread",
        },
    )

    assert answer.status_code == 200, answer.json()
    room.lot.refresh_from_db()
    assert (room.lot.quantity_made, room.lot.cost_cents) == (190_000, 110_000)
    assert room.lot.moisture_percent == Decimal("18.10")
    assert Balance.objects.in_vessel(room.tank).quantity == 190_000


def test_parts_and_goods_that_came_in_are_corrected(send, room):
    parts = PartReceipt.objects.get(part=room.jar)
    candles = goods.receive(
        product=builders.goods("Candle"),
        place=room.shelf,
        quantity=40,
        cost_cents=8_000,
        supplier="",
        received_on=builders.today(),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    jars = send(f"parts-received/{parts.pk}/correct/", {"pieces": 480, "reason": "Miscounted"})
    wax = send(f"goods-received/{candles.pk}/correct/", {"quantity": 36, "reason": "Miscounted"})

    assert (jars.status_code, jars.json()["pieces"]) == (200, 480)
    assert (wax.status_code, wax.json()["quantity"]) == (200, 36)
    assert list(books.faults()) == []


@pytest.mark.parametrize(
    ("role", "path"),
    [
        ("stand", "runs/{run}/correct/"),
        ("stand", "lots/{lot}/correct/"),
        ("stand", "parts-received/{parts}/correct/"),
    ],
)
def test_a_correction_needs_the_right_of_the_act_itself(send, room, role, path):
    run = bottling_room.recorded(room)
    parts = PartReceipt.objects.get(part=room.jar)
    address = path.format(run=run.number, lot=room.lot.code, parts=parts.pk)

    assert send(address, {"reason": "Misread"}, role=role).status_code == 403
