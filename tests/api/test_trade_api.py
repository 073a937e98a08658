"""Consignment, contracts, standing orders and delivery rounds through the API."""

import json
from datetime import date, timedelta

import pytest
from django.utils import timezone

from apiary_sales.billing.models import ConsignmentReport
from apiary_sales.orders.models import Order
from apiary_sales.pricing.models import PiecePrice
from inventory.stock.models import Balance, Place
from inventory.stock.services import drums
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def call(client):
    def call(method, path, body=None, role="owner", key=None):
        answer = getattr(client, method)(
            f"/api/v1/{path}",
            **({"data": json.dumps(body)} if body else {}),
            content_type="application/json",
            headers={
                "Authorization": builders.authorization(role),
                "Idempotency-Key": key or builders.new_key(),
            },
        )
        return answer

    return call


@pytest.fixture
def jars():
    made = builders.product("One pound", code="1-lb")
    PiecePrice.objects.create(
        tier="shop", product=made, piece_cents=650, valid_from=date(2026, 1, 1)
    )
    return made


@pytest.fixture
def shelf():
    return builders.place("shelf", Place.Kind.SHELF)


@pytest.fixture
def lot(jars, shelf):
    return builders.packed_lot(jars, shelf, 24, code="A1")


@pytest.fixture
def shop():
    return builders.customer("Corner Grocery")


def today():
    return timezone.localdate().isoformat()


def made(answer, status=201):
    assert answer.status_code == status, answer.content
    return answer.json()


def test_a_shop_gets_jars_reports_and_is_invoiced(call, lot, shop, client):
    shelf = made(call("post", "consignment-shelves/", {"customer": shop.pk}))
    code = shelf["code"]
    assert (code, shelf["lots"]) == ("corner-grocery", [])
    at = f"consignment-shelves/{code}"
    made(call("post", f"{at}/prices/", {"product": "1-lb", "unit_price": "5.25"}))
    delivery = made(
        call("post", f"{at}/deliveries/", {"lines": [{"product": "1-lb", "pieces": 10}]})
    )
    number = delivery["number"]
    done = made(
        call("post", f"consignment-deliveries/{number}/deliver/", {"delivered_on": None}), 200
    )
    assert done["status"] == "delivered"
    paper = call("get", f"consignment-deliveries/{number}/paper.pdf")
    assert paper.content[:5] == b"%PDF-"

    invoice = made(
        call(
            "post",
            f"{at}/reports/",
            {
                "lines": [{"product": "1-lb", "pieces": 4}],
                "sold_from": today(),
                "sold_until": today(),
            },
        )
    )
    back = made(
        call(
            "post",
            f"{at}/bring-back/",
            {"lots": [{"lot": lot.pk, "pieces": 1}], "target": "shelf"},
        )
    )

    assert invoice["net_cents"] == 2_100
    assert ConsignmentReport.objects.count() == 1
    assert [(row["lot"], row["pieces"]) for row in back["lots"]] == [("A1", 5)]
    assert made(call("get", "consignment-shelves/"), 200)["results"] == [back]


def test_what_is_wrong_with_a_report_is_named_at_its_line(call, lot, shop):
    code = made(call("post", "consignment-shelves/", {"customer": shop.pk}))["code"]

    answer = call(
        "post",
        f"consignment-shelves/{code}/reports/",
        {"lines": [{"product": "1-lb", "pieces": 4}], "sold_from": today(), "sold_until": today()},
    )

    assert answer.status_code == 422
    assert [each["field"] for each in answer.json()["errors"]] == ["lines.0.product"]


def test_a_planned_delivery_is_cancelled(call, lot, shop):
    code = made(call("post", "consignment-shelves/", {"customer": shop.pk}))["code"]
    delivery = made(
        call(
            "post",
            f"consignment-shelves/{code}/deliveries/",
            {"lines": [{"product": "1-lb", "pieces": 10}]},
        )
    )

    done = made(call("post", f"consignment-deliveries/{delivery['number']}/cancel/"), 200)

    assert done["status"] == "cancelled"


def test_drums_are_called_off_from_a_contract(call, owner):
    tank = builders.place("tank-1")
    lot = builders.lot_in(tank, 295_000)
    drum = builders.place("drum-1", Place.Kind.DRUM, name="Drum 1", tare_grams=18_000)
    drums.fill(tank=tank, drum=drum, gross_grams=313_000, recorded_by=owner, key="fill")
    packer = builders.customer("Prairie Packers", kind="bulk", tier="bulk")
    contract = made(
        call(
            "post",
            "contracts/",
            {
                "customer": packer.pk,
                "max_grams": 600_000,
                "price_steps": [{"from_grams": 0, "unit_price": "2.40"}],
                "starts_on": today(),
                "ends_on": today(),
                "moisture_percent_max": "17.0",
            },
        )
    )
    at = f"contracts/{contract['number']}"
    later = (timezone.localdate() + timedelta(days=60)).isoformat()
    assert made(call("post", f"{at}/end/", {"ends_on": later}), 200)["ends_on"] == later
    sample = {"lot": lot.pk, "approved_on": today(), "approved_by": "Ida Roth"}
    made(call("post", f"{at}/samples/", sample))

    asked = call("post", f"{at}/call-offs/", {"drums": ["drum-1"]})
    assert [each["field"] for each in asked.json()["errors"]] == ["quality_is_right"]
    order = made(
        call(
            "post",
            f"{at}/call-offs/",
            {
                "drums": ["drum-1"],
                "quality_is_right": True,
                "charges": [{"kind": "freight", "quantity": 1, "unit_price": "80"}],
            },
        )
    )

    assert [line["amount_cents"] for line in order["lines"]] == [156_087, 8_000]
    [listed] = made(call("get", "contracts/"), 200)["results"]
    assert (listed["called_off_grams"], listed["remaining_grams"]) == (295_000, 305_000)


def test_standing_orders_are_confirmed_in_one_step(call, lot, shop):
    standing = made(
        call(
            "post",
            "standing-orders/",
            {
                "customer": shop.pk,
                "channel": "shop",
                "rhythm": "weekly",
                "lines": [{"product": "1-lb", "pieces": 6}],
                "starts_on": today(),
            },
        )
    )
    [proposal] = made(call("get", f"standing-orders/due/?day={today()}"), 200)
    assert (proposal["standing"], proposal["total_cents"]) == (standing["id"], 3_900)

    due = [{"standing": standing["id"], "due_on": today()}]
    [order] = made(call("post", "standing-orders/due/", {"due": due}))

    assert order["total_cents"] == 3_900
    assert made(call("get", "standing-orders/due/"), 200) == []
    at = f"standing-orders/{standing['id']}"
    following = (timezone.localdate() + timedelta(days=7)).isoformat()
    made(call("post", f"{at}/leave-out/", {"due_on": following}))
    assert made(call("post", f"{at}/pause/", {"is_paused": True}), 200)["is_paused"]
    changed = made(
        call(
            "post",
            f"{at}/change/",
            {
                "rhythm": "monthly",
                "lines": [{"product": "1-lb", "pieces": 8}],
                "starts_on": today(),
            },
        ),
        200,
    )
    assert [(line["product"], line["pieces"]) for line in changed["lines"]] == [("1-lb", 8)]
    assert made(call("get", "standing-orders/"), 200)["results"] == [changed]


def test_a_round_is_planned_and_its_stops_delivered(call, lot, shop, jars, owner):
    code = made(call("post", "consignment-shelves/", {"customer": shop.pk}))["code"]
    lines = {"lines": [{"product": "1-lb", "pieces": 10}]}
    delivery = made(call("post", f"consignment-shelves/{code}/deliveries/", lines))
    body = {"day": today(), "vehicle": "Blue van", "stops": [delivery["number"]]}

    planned = made(call("post", "delivery-rounds/", body))

    assert planned["to_load"] == [
        {
            "product": "1-lb",
            "product_id": jars.pk,
            "lot": "A1",
            "lot_id": lot.pk,
            "quantity": 10,
        }
    ]
    at = f"delivery-rounds/{planned['number']}"
    assert call("get", f"{at}/load-list.pdf").content[:5] == b"%PDF-"
    changed = made(call("post", f"{at}/", {**body, "vehicle": "Truck"}), 200)
    assert changed["vehicle"] == "Truck"
    assert made(call("get", f"{at}/"), 200) == changed
    [stop] = changed["stops"]
    done = made(call("post", f"{at}/{stop['id']}/", {"delivered_on": None}), 200)
    assert [each["is_delivered"] for each in done["stops"]] == [True]
    [row] = made(call("get", "delivery-rounds/"), 200)["results"]
    assert (row["stops"], row["left"]) == (1, 0)
    on_shelf = Balance.objects.get(place__code=code)
    assert on_shelf.quantity == 10
    assert not Order.objects.exists()


@pytest.mark.parametrize(
    ("path", "role"),
    [
        ("consignment-shelves/", "stand"),
        ("contracts/", "stand"),
        ("standing-orders/", "stand"),
        ("delivery-rounds/", "stand"),
    ],
)
def test_regular_trade_is_kept_from_who_has_no_business_with_it(call, path, role):
    assert call("get", path, role=role).status_code == 403


@pytest.mark.parametrize("path", ["consignment-shelves/", "contracts/"])
def test_who_fills_for_shops_and_packers_reads_what_others_agree_with_them(call, path):
    assert call("get", path, role="bottling").status_code == 200
    assert call("post", path, {}, role="bottling").status_code == 403


def test_an_unknown_number_on_a_round_is_named(call):
    answer = call("post", "delivery-rounds/", {"day": today(), "vehicle": "Van", "stops": ["nope"]})

    assert answer.status_code == 400
    assert [each["field"] for each in answer.json()["errors"]] == ["stops.0"]
