"""Drums weighed out, returned and refunded through the API."""

from decimal import Decimal
from itertools import count

import pytest

from apiary_sales.billing.models import KeptDeposit
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import invoices
from apiary_sales.orders.models import Fulfilment, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.stock.models import Place
from inventory.stock.services import drums
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    assert list(books.faults()) == []


@pytest.fixture
def send(client):
    keys = (f"sent-{number}" for number in count())

    def make(path, body=None, *, role="owner", key=None):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{path}",
            body or {},
            content_type="application/json",
            headers={"Idempotency-Key": key or next(keys)},
        )

    return make


@pytest.fixture
def order(db):
    owner = builders.person("owner")
    lines = []
    for number in (7, 8):
        tank = builders.place(f"tank-{number}")
        builders.lot_in(tank, 295_000)
        drum = builders.place(f"d{number}", Place.Kind.DRUM, tare_grams=18_000)
        drums.fill(
            tank=tank, drum=drum, gross_grams=313_000, recorded_by=owner, key=builders.new_key()
        )
        lines.append(LineWanted(OrderLine.Kind.HONEY, 295_000, Decimal("2.15"), drum=drum))
    lines.append(LineWanted(OrderLine.Kind.DRUM_DEPOSIT, 2, Decimal("40.00")))
    return orders.take(
        customer=builders.customer("Prairie Packers"),
        channel="bulk",
        lines=lines,
        created_by=owner,
        key="order",
        customer_reference="PO 4711",
    )


@pytest.fixture
def invoice(order):
    orders.fulfil(order=order, filled_by=builders.person("owner"), key="out")
    return invoices.issue(order=order, issued_by=builders.person("owner"), key="bill")


def fields(answer):
    return [error["field"] for error in answer.json()["errors"]]


def test_drums_are_handed_over_at_the_weight_of_the_scale(send, order):
    first, second = order.lines.filter(kind="honey").order_by("id")

    answer = send(
        f"orders/{order.number}/hand-over/",
        {
            "lines": [
                {"line": first.pk, "gross_grams": 312_000, "seal": "A-1"},
                {"line": second.pk, "net_grams": 296_000},
            ],
            "scale": "Floor scale",
            "weighed_by": "Bram",
        },
    )

    assert answer.status_code == 201, answer.json()
    made = answer.json()
    assert (made["scale"], made["customer_reference"]) == ("Floor scale", "PO 4711")
    weights = [(row["quantity"], row["gross_grams"], row["seal"]) for row in made["lines"]]
    assert weights == [(294_000, 312_000, "A-1"), (296_000, 314_000, ""), (2, None, None)]


def test_a_load_is_shared_and_a_large_difference_confirmed(send, order):
    path = f"orders/{order.number}/hand-over/"

    asked = send(path, {"load_net_grams": 560_000})
    assert (asked.status_code, fields(asked)) == (422, ["difference_is_right"])
    done = send(path, {"load_net_grams": 560_000, "difference_is_right": True})

    assert [row["quantity"] for row in done.json()["lines"]] == [280_000, 280_000, 2]


def test_what_is_wrong_with_a_weight_is_told_at_its_field(send, order):
    first, second = order.lines.filter(kind="honey").order_by("id")
    path = f"orders/{order.number}/hand-over/"

    heavy = send(path, {"lines": [{"line": second.pk, "gross_grams": 10_000}]})
    assert fields(heavy) == ["lines.0.gross_grams"]
    part = send(path, {"lines": [{"line": first.pk, "quantity": 5}]})
    assert fields(part) == ["lines.0.quantity"]
    unknown = send(path, {"lines": [{"line": 999_999}]})
    assert fields(unknown) == ["lines.0.quantity"]
    twice = send(path, {"lines": [{"line": first.pk}, {"line": first.pk}]})
    assert fields(twice) == ["lines.1.line"]
    deposit = order.lines.get(kind="drum_deposit")
    charge = send(path, {"lines": [{"line": deposit.pk, "net_grams": 5}]})
    assert fields(charge) == ["lines.0.line"]
    assert not Fulfilment.objects.exists()
    assert send(path, role="stand").status_code == 403


def test_a_delivery_has_a_carrier_and_papers(send, client, invoice):
    fulfilment = Fulfilment.objects.get()
    path = f"fulfilments/{fulfilment.pk}/"

    said = send(f"{path}delivery/", {"carrier": "Plains Freight", "freight": "collect"})
    assert said.json()["carrier"] == "Plains Freight"
    assert fields(send(f"{path}delivery/", {"freight": "by air"})) == ["freight"]
    for paper in ("delivery-note", "bill-of-lading", "packing-slip"):
        assert client.get(f"/api/v1/{path}{paper}.pdf").content[:5] == b"%PDF-"
    assert client.get(f"/api/v1/{path}love-letter.pdf").status_code == 404


def test_drums_come_back_and_their_deposit_is_refunded(send, client, invoice):
    out = send("drum-returns/", {"drums": [{"drum": "d7", "tare_grams": 18_200}]})
    assert out.status_code == 201, out.json()
    assert Place.objects.get(code="d7").tare_grams == 18_200
    again = send("drum-returns/", {"drums": [{"drum": "d7"}]})
    assert fields(again) == ["drums.0.drum"]
    heavy = send("drum-returns/", {"drums": [{"drum": "d8", "tare_grams": 40_000_000}]})
    assert fields(heavy) == ["drums.0.tare_grams"]
    [still] = client.get("/api/v1/drums-out/").json()
    assert (still["drum"], still["deposit_cents"]) == ("d8", 4000)
    assert client.get("/api/v1/drums/d7/history/").json()[0]["what"] == "Came back empty"

    path = f"customers/{invoice.customer_id}/deposit-refunds/"
    assert client.get(f"/api/v1/{path}").json() == [{"invoice": invoice.pk, "drums": 1}]
    made = send(path, {"invoices": [{"invoice": invoice.pk, "drums": 1}], "pays_back": True})
    assert (made.json()["total_cents"], made.json()["paid_back_cents"]) == (4000, 0)
    more = send(path, {"invoices": [{"invoice": invoice.pk, "drums": 5}]})
    assert fields(more) == ["invoices"]


def test_lost_and_damaged_drums_leave_their_deposit(send, invoice):
    lost = send("drums-lost/", {"drums": [{"drum": "d7"}], "note": "Fire at theirs"})
    assert lost.json()["outcome"] == "lost"
    damaged = send("drum-returns/", {"drums": [{"drum": "d8"}], "outcome": "damaged"})
    [drum] = damaged.json()["drums"]

    kept = send(f"returned-drums/{drum['id']}/keep-deposit/", {"reason": "Bung torn"})

    assert kept.json()["amount_cents"] == 4000
    assert KeptDeposit.objects.count() == 2
    assert send("drums-lost/", {"drums": [{"drum": "d8"}], "note": "x"}).status_code == 422


def test_the_return_of_a_lost_drum_names_its_kept_deposit_and_the_keeping_is_undone(send, invoice):
    send("drums-lost/", {"drums": [{"drum": "d7"}], "note": "Fire at theirs"})
    made = send("drum-returns/", {"drums": [{"drum": "d7"}]})
    kept = made.json()["drums"][0]["kept_deposit"]
    assert kept["amount_cents"] == 4000

    undone = send(f"kept-deposits/{kept['id']}/undo/", {"reason": "Found"})

    assert undone.status_code == 201
    assert undone.json()["undone_on"] is not None
    assert not KeptDeposit.objects.standing().exists()
