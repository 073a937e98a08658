"""Orders and quotes through the API: each act calls the service of its page."""

import json
from datetime import timedelta
from itertools import count

import pytest

from apiary_sales.customers.models import Customer, DeliveryAddress
from apiary_sales.orders.models import Order
from inventory.stock.models import Balance, Place
from inventory.stock.services import drums
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def send(client):
    keys = (f"sent-{number}" for number in count())

    def make(path, body=None, *, role="office", key=None):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{path}",
            json.dumps({} if body is None else body),
            content_type="application/json",
            headers={"Idempotency-Key": key or next(keys)},
        )

    return make


@pytest.fixture
def jars():
    made = builders.product("One pound", code="1lb")
    builders.packed_lot(made, builders.place("shelf", Place.Kind.SHELF), 60)
    return made


@pytest.fixture
def drum():
    tank = builders.place("tank-1")
    builders.lot_in(tank, 295_000)
    made = builders.place("drum-7", Place.Kind.DRUM, name="Drum 7", tare_grams=18_000)
    drums.fill(
        tank=tank, drum=made, gross_grams=313_000, recorded_by=builders.person(), key="filled"
    )
    return made


def line(pieces=24, **fields) -> dict:
    return {"kind": "packed", "product": "1lb", "quantity": pieces, "unit_price": "6.50", **fields}


def wanted(**fields) -> dict:
    shop = builders.customer()
    return {"customer": shop.pk, "channel": "shop", "lines": [line()], **fields}


def quoted(drum, **fields) -> dict:
    of_drum = {"kind": "honey", "drum": drum.code, "quantity": 295_000, "unit_price": "2.15"}
    return {
        "customer": Customer.objects.get_or_create(name="Prairie Packers", kind="bulk")[0].pk,
        "lines": [of_drum],
        "valid_until": str(builders.today() + timedelta(days=14)),
        **fields,
    }


def problems(answer) -> dict:
    assert answer.status_code >= 400, answer.json()
    return {error["field"]: error["detail"] for error in answer.json()["errors"]}


def test_an_order_is_taken_at_the_total_that_was_shown(send, jars):
    body = wanted(customer_reference="PO 4711")

    refused = send("orders-taken/", body | {"expected_total_cents": 15_601})
    taken = send("orders-taken/", body | {"expected_total_cents": 15_600})

    assert "it comes to $156.00 now" in problems(refused)["expected_total_cents"]
    assert taken.status_code == 201
    assert (taken.json()["status"], taken.json()["customer_reference"]) == ("open", "PO 4711")
    assert Order.objects.count() == 1


def test_an_order_is_changed_as_it_was_read(send, jars):
    order = send("orders-taken/", wanted()).json()
    [there] = order["lines"]
    path = f"orders/{order['number']}/change/"
    body = {
        "changes": [
            {"line": there["id"], "quantity": 30, "unit_price": "6.20", "price_reason": "fair"}
        ],
        "lines": [{"kind": "freight", "quantity": 1, "unit_price": "8"}],
        "note": "ring first",
        "seen": order["state"],
        "expected_total_cents": 19_400,
    }

    changed, again = send(path, body), send(path, body)

    assert (changed.status_code, changed.json()["total_cents"]) == (201, 19_400)
    assert changed.json()["lines"][0]["price_reason"] == "fair"
    assert "was changed while this page was open" in problems(again)["seen"]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"quantity": 999}, "changes.0.quantity"),
        ({"unit_price": "6"}, "changes.0.price_reason"),
        ({"discount_cents": 99_999_999, "price_reason": "x"}, "changes.0.discount_cents"),
        ({"quantity": 0}, "changes"),
        ({}, "changes"),
    ],
)
def test_what_is_wrong_with_a_change_is_named(send, jars, change, field):
    order = send("orders-taken/", wanted()).json()
    [there] = order["lines"]

    refused = send(
        f"orders/{order['number']}/change/", {"changes": [{"line": there["id"], **change}]}
    )

    assert list(problems(refused)) == [field]
    assert Order.objects.get().total_cents == 15_600


def test_an_order_takes_other_goods_and_is_cancelled(send, jars):
    other = builders.product("Two pound", "2", code="2lb")
    builders.packed_lot(other, Place.objects.get(code="shelf"), 60)
    order = send("orders-taken/", wanted()).json()
    path = f"orders/{order['number']}"
    body = {
        "line": order["lines"][0]["id"],
        "product": "2lb",
        "quantity": 12,
        "unit_price": "11",
        "reason": "out of the small ones",
    }

    changed = send(f"{path}/substitute/", body)
    missing = send(f"{path}/reserve-missing/")
    cancelled = send(f"{path}/cancel/", {"reason": "closed"})

    assert [row["product"] for row in changed.json()["lines"]] == ["2lb"]
    assert "are reserved" in problems(missing)[None]
    assert cancelled.json()["status"] == "cancelled"
    assert sum(Balance.objects.values_list("reserved", flat=True)) == 0


def test_a_quote_is_replaced_and_accepted_at_the_weight_of_now(send, drum):
    old = send("quotes-made/", quoted(drum)).json()
    body = quoted(drum, supersedes=old["number"])
    new = send("quotes-made/", body).json()
    drums.weigh_again(
        drum=drum, gross_grams=18_000 + 296_000, recorded_by=builders.person(), key="scale"
    )
    path = f"quotes/{new['number']}/accept/"

    unseen, seen = send(path), send(path, {"expected_total_cents": 140_302})

    assert Order.objects.get(number=old["number"]).status == "superseded"
    assert "it comes to $1,403.02 now" in problems(unseen)["expected_total_cents"]
    assert (seen.json()["status"], seen.json()["total_cents"]) == ("open", 140_302)


@pytest.mark.parametrize(("act", "status"), [("decline", "declined"), ("withdraw", "withdrawn")])
def test_a_quote_ends_with_a_reason(send, drum, act, status):
    quote = send("quotes-made/", quoted(drum)).json()
    path = f"quotes/{quote['number']}/{act}/"

    refused, ended = send(path, {"reason": " "}), send(path, {"reason": "too dark"})

    assert list(problems(refused)) == ["reason"]
    assert ended.json()["status"] == status


def test_an_expired_quote_says_so(send, drum, client):
    quote = send("quotes-made/", quoted(drum)).json()
    Order.objects.update(valid_until=builders.today() - timedelta(days=1))

    answer = client.get(f"/api/v1/orders/{quote['number']}/")

    assert answer.json()["status"] == "expired"


def test_an_address_is_added_and_taken_off(send, client, jars):
    body = wanted()
    path = f"customers/{body['customer']}/addresses/"

    made = send(path, {"name": "The barn", "city": "Elm Hollow"}).json()
    nowhere = send(path, {"name": "The barn"})
    taken = send("orders-taken/", body | {"ship_to": made["id"]})
    listed = client.get(f"/api/v1/{path}").json()["results"]
    removed = send(f"delivery-addresses/{made['id']}/remove/")

    assert list(problems(nowhere)) == ["street"]
    assert taken.json()["ship_to"] == made["id"]
    assert [row["name"] for row in listed] == ["The barn"]
    assert removed.json()["is_active"] is False
    assert DeliveryAddress.objects.get().orders.count() == 1
    assert client.get(f"/api/v1/{path}").json()["results"] == []


@pytest.mark.parametrize("path", ["orders-taken/", "quotes-made/", "orders/26-0001/change/"])
def test_bottling_does_not_sell(send, path):
    assert send(path, role="bottling").status_code == 403
