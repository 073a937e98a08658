"""An order that its buyer fetches, through the API."""

from decimal import Decimal

import pytest

from apiary_sales.billing.models import StandSale
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.stock.models import Place
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def order(db):
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    pounds = builders.product("One pound")
    builders.packed_lot(pounds, stand, 24, code="P-1")
    return orders.take(
        customer=builders.customer("Ida Marsh", terms_days=0),
        channel=Order.Channel.SHOP,
        lines=[LineWanted(OrderLine.Kind.PACKED, 4, Decimal(6), product=pounds)],
        created_by=builders.person(),
        key="order",
    )


@pytest.fixture
def send(client, order):
    def send(body, role="stand", key="one"):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/orders/{order.number}/pick-up/",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": key},
        )

    return send


def test_an_order_is_handed_over_and_paid(send, order):
    line = order.lines.get()
    body = {
        "place": "stand",
        "lines": [{"line": line.pk, "pieces": 3}],
        "payments": [{"method": "cash", "tendered_cents": 2_000}],
        "expected_total_cents": 1_800,
    }

    answer = send(body)
    again = send(body)

    assert answer.status_code == 201
    sale = StandSale.objects.get()
    assert answer.json() == {
        "order": order.number,
        "order_id": order.pk,
        "receipt": str(sale.receipt),
        "receipt_id": sale.receipt_id,
        "total_cents": 1_800,
        "tax_cents": 0,
        "change_cents": 200,
        "marks": [],
    }
    assert (again.status_code, again.json()) == (201, answer.json())


def test_a_refusal_names_the_field_of_the_body(send, order):
    line = order.lines.get()

    too_many = send({"place": "stand", "lines": [{"line": line.pk, "pieces": 5}]})
    unpaid = send({"place": "stand"})
    later = send({"place": "stand", "on_account": True})

    assert [one["field"] for one in too_many.json()["errors"]] == ["lines.0.pieces"]
    assert [one["field"] for one in unpaid.json()["errors"]] == ["payments"]
    assert [one["field"] for one in later.json()["errors"]] == ["on_account"]
    assert {one.status_code for one in (too_many, unpaid, later)} == {422}


def test_who_may_not_sell_may_not_hand_over(send):
    assert send({"place": "stand"}, role="bottling").status_code == 403
