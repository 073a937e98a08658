"""A sale by weight through the API: the same service, prices and refusals as on its page."""

from datetime import date
from decimal import Decimal

import pytest

from apiary_sales.billing.models import Invoice
from apiary_sales.pricing.services import weight_prices
from inventory.stock.models import Place
from tests import builders
from tests.orders.by_weight_room import there, wax, wax_lot

pytestmark = pytest.mark.django_db


@pytest.fixture
def pail():
    builders.place("stand", Place.Kind.STAND)
    made = builders.place("pail-1", Place.Kind.PAIL)
    builders.lot_in(made, 20_000)
    weight_prices.set_price(
        tier="stand", price_per_pound=Decimal("4.25"), valid_from=date(2026, 1, 1)
    )
    return made


@pytest.fixture
def send(client):
    def make(key="w1", **changes):
        client.force_login(builders.person("stand"))
        body = {"place": "stand", "vessel": "pail-1", "method": "card", **changes}
        return client.post(
            "/api/v1/weight-sales/",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": key},
        )

    return make


def test_honey_is_sold_by_gross_and_tare(send, pail):
    answer = send(gross_grams=6_000, tare_grams=350)

    # 5 650 / 453.59237 × 4.25 = 52.938…
    assert (answer.status_code, answer.json()["total_cents"]) == (201, 5_294)
    assert there(pail) == (14_350, 0)
    assert send(gross_grams=6_000, tare_grams=350).content == answer.content
    [line] = Invoice.objects.get().lines.all()
    assert line.weighing.tare_grams == 350


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"net_grams": 500, "gross_grams": 900, "tare_grams": 1}, "net_grams"),
        ({"gross_grams": 900}, "tare_grams"),
        ({"gross_grams": 900, "tare_grams": 900}, "gross_grams"),
        ({"net_grams": 20_001}, "net_grams"),
        ({"net_grams": 500, "vessel": None}, "vessel"),
        ({"net_grams": 500, "vessel": None, "product": "beeswax"}, "product"),
    ],
)
def test_what_is_wrong_is_named(body, field, send, pail):
    wax_lot(wax(), builders.place("shelf", Place.Kind.SHELF), 1_000)

    answer = send(**body)

    assert [error["field"] for error in answer.json()["errors"]] == [field]
    assert not Invoice.objects.exists()
