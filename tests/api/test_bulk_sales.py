"""Sales of other tills: with their own moment, and many at once with a result each."""

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
import time_machine

from apiary_sales.api import views
from apiary_sales.billing.models import StandSale
from apiary_sales.billing.services import opening
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.services import prices, weight_prices
from inventory.stock.models import Place, Shortage
from inventory.stock.queries import books
from tests import builders

pytestmark = pytest.mark.django_db

NOW = datetime.fromisoformat("2026-09-20T15:00:00-05:00")


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def till(_clock):
    """A stand with ten one-pound jars: 8.00 from January, 9.50 from the tenth of September."""
    stand = builders.place("stand", Place.Kind.STAND)
    product = builders.product("One pound", code="1-lb")
    builders.packed_lot(product, stand, 10)
    for cents, day in ((800, date(2026, 1, 1)), (950, date(2026, 9, 10))):
        prices.set_piece(
            product=product, tier=Customer.Tier.STAND, piece_cents=cents, valid_from=day
        )
    return product


@pytest.fixture
def send(client):
    def make(body, path="stand-sales/", key="k"):
        return client.post(
            f"/api/v1/{path}",
            body,
            content_type="application/json",
            headers={"Authorization": builders.authorization("stand"), "Idempotency-Key": key},
        )

    return make


def sale(pieces=1, **more):
    lines = [{"product": "1-lb", "pieces": pieces}]
    return {"place": "stand", "lines": lines, "method": "cash", "tendered_cents": 10_000, **more}


def fields(said):
    return [error["field"] for error in said["errors"]]


def test_a_sale_of_an_earlier_day_has_the_price_of_that_day(send, till):
    moment = "2026-09-05T10:30:00-05:00"

    answer = send(sale(2, sold_at=moment))

    assert (answer.status_code, answer.json()["total_cents"]) == (201, 1_600)
    made = StandSale.objects.get()
    assert made.sold_at == datetime.fromisoformat(moment)
    assert made.source == StandSale.Source.OTHER


def test_a_sale_that_has_happened_is_booked_where_the_goods_were_not_there(send, till):
    answer = send(sale(12, sold_at="2026-09-19T10:30:00-05:00"))

    assert answer.status_code == 201, answer.content
    assert Shortage.objects.get().quantity == 2
    assert StandSale.objects.get().marks.exists()
    assert list(books.faults()) == []
    assert send(sale(12), key="now").status_code == 409


@pytest.mark.parametrize(
    ("sold_at", "status"),
    [
        ("2026-09-20T15:05:00-05:00", 201),
        ("2026-09-20T15:05:01-05:00", 422),
        ("2026-09-21T09:00:00-05:00", 422),
        ("2021-09-19T09:00:00-05:00", 422),
        ("0001-01-01T00:00:00+00:00", 400),
        ("9999-12-31T23:59:59-05:00", 400),
        ("yesterday", 400),
        (5, 400),
    ],
)
def test_the_moment_of_a_sale_is_neither_in_the_future_nor_long_ago(send, till, sold_at, status):
    answer = send(sale(sold_at=sold_at))

    assert answer.status_code == status, answer.content
    if status != 201:
        assert fields(answer.json()) == ["sold_at"]
        assert not StandSale.objects.exists()


def test_a_sale_from_before_the_books_is_refused(send, till, owner):
    opening.amount(
        account="cash",
        amount_cents=5_000,
        begins_on=date(2026, 9, 1),
        recorded_by=owner,
        key="begins",
    )

    before = send(sale(sold_at="2026-08-31T10:00:00-05:00"))
    since = send(sale(sold_at="2026-09-01T10:00:00-05:00"))

    assert (before.status_code, fields(before.json())) == (422, ["sold_at"])
    assert since.status_code == 201


def test_honey_by_weight_of_an_earlier_day_has_the_price_of_that_day(send, till):
    pail = builders.place("pail-1", Place.Kind.PAIL)
    builders.lot_in(pail, 20_000)
    for price, day in (("4.00", date(2026, 1, 1)), ("5.00", date(2026, 9, 10))):
        weight_prices.set_price(tier="stand", price_per_pound=Decimal(price), valid_from=day)
    body = {"place": "stand", "vessel": "pail-1", "net_grams": 45_359, "method": "card"}

    late = send(body | {"sold_at": "2026-09-05T10:00:00-05:00"}, "weight-sales/")

    # A hundred pounds, more than twice what was there.
    assert (late.status_code, late.json()["total_cents"]) == (201, 40_000)
    assert StandSale.objects.get().marks.exists()
    assert send(body, "weight-sales/", key="now").status_code == 409


# ------------------------------------------------------------------ many at once


def bulk(*sales):
    return {"sales": list(sales)}


def results(answer):
    assert answer.status_code == 200, answer.content
    return answer.json()["results"]


def test_each_sale_has_its_result_in_the_order_sent(send, till):
    sold_at = (NOW - timedelta(hours=2)).isoformat()
    answer = send(
        bulk(
            sale(1, key="a", sold_at=sold_at),
            sale(0, key="b"),
            sale(2, key="c"),
            "no sale",
            sale(1, key="d", place="nowhere"),
            sale(1),
            sale(99, key="e"),
        ),
        "stand-sales/bulk/",
    )

    rows = results(answer)
    assert [(row["key"], row["status"]) for row in rows] == [
        ("a", 201),
        ("b", 400),
        ("c", 201),
        (None, 400),
        ("d", 400),
        (None, 400),
        ("e", 409),
    ]
    assert [row["sale"] and row["sale"]["total_cents"] for row in rows[:3]] == [950, None, 1_900]
    assert fields(rows[1]["problem"]) == ["lines.0.pieces"]
    assert fields(rows[5]["problem"]) == ["key"]
    assert rows[0]["problem"] is None
    assert StandSale.objects.count() == 2


def test_all_sent_again_are_answered_alike(send, till):
    body = bulk(sale(1, key="a"), sale(0, key="b"), sale(2, key="c"))
    first = send(body, "stand-sales/bulk/")

    again = send(body, "stand-sales/bulk/")

    assert again.content == first.content
    assert StandSale.objects.count() == 2


def test_a_key_is_the_same_alone_and_among_many(send, till):
    alone = send(sale(1), key="a").json()

    same, other = results(
        send(bulk(sale(1, key="a"), sale(2, key="a")), "stand-sales/bulk/", key="x")
    )

    assert (same["status"], same["sale"]) == (201, alone)
    assert (other["status"], other["problem"]["recorded"]) == (409, alone)
    assert StandSale.objects.count() == 1


def test_a_fault_in_one_sale_does_not_hold_up_the_others(send, till, monkeypatch):
    sell = views.sell_at_stand

    def fail(data, **named):
        if data["lines"][0]["quantity"] == 2:
            raise RuntimeError("secret inside")
        return sell(data, **named)

    monkeypatch.setattr(views, "sell_at_stand", fail)
    answer = send(bulk(sale(2, key="a"), sale(1, key="b")), "stand-sales/bulk/")

    assert [row["status"] for row in results(answer)] == [500, 201]
    assert b"secret" not in answer.content


@pytest.mark.parametrize("sales", [[], "x", None, [sale(1, key=f"{n}") for n in range(201)]])
def test_none_and_too_many_are_refused_whole(send, till, sales):
    answer = send({"sales": sales}, "stand-sales/bulk/")

    assert (answer.status_code, fields(answer.json())) == (400, ["sales"])
    assert not StandSale.objects.exists()
