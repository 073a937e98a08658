"""Market days and honesty boxes through the API."""

import json
from datetime import date

import pytest

from apiary_sales.pricing.models import PiecePrice
from inventory.stock.models import Balance, Place
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def call(client):
    def call(method, path, body=None, role="stand", key=None):
        return getattr(client, method)(
            f"/api/v1/{path}",
            **({"data": json.dumps(body)} if body else {}),
            content_type="application/json",
            headers={
                "Authorization": builders.authorization(role),
                "Idempotency-Key": key or builders.new_key(),
            },
        )

    return call


@pytest.fixture
def house():
    """A shelf with 48 jars of a pound at 8.00, an empty van and an empty stand."""
    product = builders.product("One pound", code="1-lb")
    PiecePrice.objects.create(
        tier="stand", product=product, piece_cents=800, valid_from=date(2026, 1, 1)
    )
    shelf = builders.place("shelf", Place.Kind.SHELF)
    builders.packed_lot(product, shelf, 48)
    builders.place("van", Place.Kind.VAN)
    builders.place("stand", Place.Kind.STAND)
    return product


def goods(pieces):
    return {"lines": [{"product": "1-lb", "pieces": pieces}]}


def planned(call, **more):
    body = {
        "place": "van",
        "source": "shelf",
        "day": str(builders.today()),
        "market": "Mill Square",
        "opens_at": "08:00",
        "closes_at": "13:00",
        **goods(24),
        **more,
    }
    return call("post", "market-days/", body)


def pieces_at(code):
    return sum(balance.quantity for balance in Balance.objects.filter(place__code=code))


def test_a_market_day_is_planned_loaded_unloaded_and_closed(call, house):
    address = f"market-days/{planned(call).json()['id']}/"
    assert call("post", f"{address}load/", goods(24)).json()["is_loaded"] is True
    assert pieces_at("van") == 24

    lines = [{"product": "1-lb", "pieces": 20}]
    refused = call("post", f"{address}unload/", {"lines": lines, "target": "shelf"})
    assert refused.status_code == 422
    assert [error["field"] for error in refused.json()["errors"]] == ["lines.0.pieces"]
    lines[0]["sold"] = 4
    call("post", f"{address}unload/", {"lines": lines, "target": "shelf"})
    fee = {"payee": "Mill Square", "amount_cents": 1_200, "paid_by": "cash"}
    assert call("post", f"{address}costs/", fee, role="office").status_code == 201
    call("post", f"{address}close/", {"labour_minutes": 120})

    # 4 × 8.00 less 12.00 is 20.00, in two hours 10.00 each
    told = call("get", address, role="office").json()
    assert (told["sold_pieces"], told["total_cents"], told["costs_cents"]) == (4, 3_200, 1_200)
    assert (told["earned_cents"], told["hourly_cents"]) == (2_000, 1_000)
    [market] = call("get", "markets/", role="office").json()
    assert (market["earned_cents"], market["mean_earned_cents"]) == (2_000, 2_000)
    # The stand does not see what goods cost, nor what tells it by a subtraction.
    costs = {"goods_cost_cents", "goods_cost_is_known", "earned_cents", "hourly_cents"}
    assert call("get", address).json() == told | dict.fromkeys(costs)
    earned = ("earned_cents", "mean_earned_cents", "hourly_cents")
    assert call("get", "markets/").json() == [market | dict.fromkeys(earned)]
    assert (pieces_at("van"), pieces_at("shelf")) == (0, 44)


def test_unloading_and_loading_are_undone(call, house):
    address = f"market-days/{planned(call).json()['id']}/"
    call("post", f"{address}load/", goods(24))
    lines = [{"product": "1-lb", "pieces": 24}]
    call("post", f"{address}unload/", {"lines": lines, "target": "shelf"})

    undone = call("post", f"{address}unload/undo/", {"reason": "Wrong van"})
    assert undone.json()["is_unloaded"] is False
    assert call("post", f"{address}load/undo/").json()["is_loaded"] is False
    assert call("post", f"{address}cancel/").json()["is_cancelled"] is True
    assert (pieces_at("van"), pieces_at("shelf")) == (0, 48)


def test_a_wrong_hour_is_told_at_its_field(call, house):
    refused = planned(call, closes_at="07:00")

    assert refused.status_code == 422
    assert [error["field"] for error in refused.json()["errors"]] == ["closes_at"]


def test_a_box_is_counted_and_the_count_undone(call, house):
    builders.packed_lot(house, Place.objects.get(code="stand"), 12)
    address = f"honesty-boxes/{call('post', 'honesty-boxes/', {'place': 'stand'}).json()['id']}/"
    shelf = [{"product": "1-lb", "counted": 12}]
    call("post", f"{address}counts/", {"lines": shelf, "cash_cents": 0})
    shelf[0]["counted"] = 10

    made = call("post", f"{address}counts/", {"lines": shelf, "cash_cents": 1_500}).json()

    assert (made["expected_cents"], made["short_cents"], made["on_top_cents"]) == (1_600, 100, 0)
    [box] = call("get", "honesty-boxes/").json()["results"]
    assert (box["cash_cents"], box["short_percent"]) == (1_500, "6.2")
    call("post", f"honesty-counts/{made['id']}/undo/", {"reason": "Miscounted"})
    assert pieces_at("stand") == 12
    assert len(call("get", f"{address}counts/").json()["results"]) == 1


def test_who_fills_jars_may_not_count_a_box(call, house):
    assert call("get", "honesty-boxes/", role="bottling").status_code == 403
