"""Buying through the API: the services of the pages, with their keys, permissions and fields."""

from datetime import date
from decimal import Decimal
from itertools import count

import pytest
from django.utils import timezone

from apiary_sales.billing.models import Expense, PurchaseOrder, SupplierBill
from apiary_sales.pricing.models import SeasonExpense
from inventory.bottling.services import parts
from tests import builders
from tests.billing.buying_room import Room, book_faults

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return Room()


@pytest.fixture
def send(client):
    keys = (f"sent-{number}" for number in count())

    def make(path, body=None, *, role="office", key=None, method="post"):
        client.force_login(builders.person(role))
        return getattr(client, method)(
            f"/api/v1/{path}",
            {} if body is None else body,
            content_type="application/json",
            headers={
                "Idempotency-Key": key or next(keys),
                # What is there is replaced, whatever it is.
                **({"If-Match": "*"} if method == "put" else {}),
            },
        )

    return make


@pytest.fixture
def read(client):
    def make(path, *, role="office"):
        client.force_login(builders.person(role))
        return client.get(f"/api/v1/{path}")

    return make


def made(answer, status=201):
    assert answer.status_code == status, answer.content
    return answer.json()


def fields(answer):
    assert answer.status_code in (400, 409, 422), answer.content
    return [error["field"] for error in answer.json()["errors"]]


def today():
    return f"{timezone.localdate():%Y-%m-%d}"


def order_body(room, **more):
    return {
        "supplier": room.supplier.pk,
        "lines": [
            {"part": room.jar.code, "pieces": 1000, "unit_price": "0.42"},
            {"product": room.wax.code, "grams": 4536, "unit_price": "6.50"},
        ],
        **more,
    }


def test_an_order_is_placed_changed_received_and_closed(send, read, room):
    body = order_body(room, freight_cents=1200)
    said = made(send("purchase-orders/", body, key="po"))

    assert [line["amount_cents"] for line in said["lines"]] == [42_000, 6_500]
    assert made(send("purchase-orders/", body, key="po")) == said
    number = said["number"]
    assert read("purchase-orders/").json()["results"][0]["number"] == number
    path = f"purchase-orders/{number}/"
    changed = {"lines": [{"part": room.jar.code, "pieces": 500, "unit_price": "0.40"}]}
    line = made(send(path, changed, method="put"), 200)["lines"][0]
    came = {"line": line["id"], "place": room.shelf.code, "pieces": 300, "received_on": today()}
    receive = f"{path}receive/"
    assert fields(send(receive, {**came, "pieces": None, "grams": 4})) == ["grams"]
    receipt = made(send(receive, came))
    assert (receipt["order"], receipt["cost_cents"]) == (number, 12_000)
    assert made(read(path), 200)["lines"][0]["received"] == 300
    assert fields(send(receive, {**came, "pieces": 99_999})) == ["more_is_right"]
    assert fields(send(f"{path}close/", {"reason": ""})) == ["reason"]
    assert made(send(f"{path}close/", {"reason": "Sold out"}), 200)["status"] == "closed"
    paper = read(f"{path}order.pdf")
    assert paper.content.startswith(b"%PDF-")


def test_a_refused_order_names_the_field_of_its_line(send, room):
    lines = [
        {"part": room.jar.code, "pieces": 5, "unit_price": "0.42"},
        {"product": room.wax.code, "grams": 5, "unit_price": "200000"},
    ]

    assert fields(send("purchase-orders/", order_body(room, lines=lines))) == ["lines.1.unit_price"]
    assert not PurchaseOrder.objects.exists()


def test_a_delivery_is_linked(send, room):
    line = room.order().lines.get()
    receipt = parts.receive(
        part=room.jar,
        place=room.shelf,
        pieces=700,
        cost_cents=28_000,
        supplier="Meadow Glass",
        received_on=timezone.localdate(),
        recorded_by=room.person,
        key="came",
    )
    path = f"purchase-orders/{line.order}/link/"
    body = {"line": line.pk, "part_receipt": receipt.pk}

    assert fields(send(path, {**body, "line": room.order().lines.get().pk})) == ["line"]
    assert made(send(path, body))["part_receipt"] == receipt.pk
    assert fields(send(path, body)) == ["part_receipt"]


def test_a_bill_is_entered_paid_and_undone(send, read, room):
    line = room.order().lines.get()
    delivery = room.receive(line, 1000, received_on=timezone.localdate()).part_receipt
    body = {
        "supplier": room.supplier.pk,
        "number": "MG-7",
        "billed_on": today(),
        "total_cents": 50_000,
        "lines": [
            {"amount_cents": 44_000, "part_receipt": delivery.pk, "takes_over_cost": True},
            {"amount_cents": 6_000, "category": "feed", "season": 2026},
        ],
        "discount_percent": "2",
        "discount_until": today(),
    }
    bill = made(send("supplier-bills/", body, key="b"))

    assert (bill["total_cents"], bill["open_cents"]) == (50_000, 50_000)
    assert [line["season"] for line in bill["lines"]] == [None, 2026]
    assert made(send("supplier-bills/", body, key="b")) == bill
    assert fields(send("supplier-bills/", {**body, "number": "MG-8"})) == ["lines.0"]
    pay = {
        "supplier": room.supplier.pk,
        "shares": [{"bill": bill["id"], "amount_cents": 49_000, "discount_cents": 1_001}],
        "paid_by": "transfer",
    }
    assert fields(send("supplier-payments/", pay)) == [
        "shares.0.discount_cents",
        "shares.0.amount_cents",
    ]
    pay["shares"][0]["discount_cents"] = 1_000
    payment = made(send("supplier-payments/", pay))
    assert read("supplier-bills/").json()["results"][0]["open_cents"] == 0
    assert read("supplier-payments/").json()["results"] == [payment]
    assert read(f"supplier-payments/{payment['id']}/").json() == payment
    assert read(f"supplier-bills/{bill['id']}/").json()["open_cents"] == 0
    assert send(f"supplier-bills/{bill['id']}/undo/", {"reason": "x"}).status_code == 409
    undone = made(send(f"supplier-payments/{payment['id']}/undo/", {"reason": "Lost"}), 200)
    assert undone["undone_on"] == today()
    [balance] = read("supplier-balances/").json()
    assert (balance["supplier"], balance["open_cents"]) == ("Meadow Glass", 50_000)
    made(send(f"supplier-bills/{bill['id']}/undo/", {"reason": "Not ours"}), 200)
    assert SupplierBill.objects.get().is_undone
    assert not SeasonExpense.objects.exists()
    assert book_faults() == []


def test_expenses_are_entered_undone_and_come_again(send, read, room):
    body = {
        "payee": "Ridge Hall",
        "category": "rent",
        "amount_cents": 30_000,
        "paid_by": "transfer",
    }
    expense = made(send("expenses/", body))
    assert fields(send("expenses/", {**body, "season": 2026, "tax_cents": 30_000})) == [
        "tax_cents",
        "season",
    ]
    assert made(send(f"expenses/{expense['id']}/undo/", {"reason": "Twice"}), 200)["undone_on"]
    assert read(f"expenses/{expense['id']}/").json()["undone_reason"] == "Twice"
    again = {**body, "rhythm": "month", "next_on": "2026-07-31"}
    rent = made(send("recurring-expenses/", again))
    path = f"recurring-expenses/{rent['id']}/"

    entered = made(send(f"{path}enter/", {"due_on": "2026-07-31"}))
    assert (entered["spent_on"], entered["recurring"]) == ("2026-07-31", rent["id"])
    assert send(f"{path}enter/", {"due_on": "2026-07-31"}).status_code == 409
    assert made(send(f"{path}skip/", {"due_on": "2026-08-31"}), 200)["next_on"] == "2026-09-30"
    changed = made(send(path, {**again, "is_active": False}, method="put"), 200)
    assert (changed["is_active"], changed["next_on"]) == (False, "2026-07-31")
    assert read("recurring-expenses/").json()["results"] == [changed]
    assert len(read("expenses/").json()["results"]) == Expense.objects.count() == 2
    assert Expense.objects.get(undone_entry=None).spent_on == date(2026, 7, 31)
    assert book_faults() == []


@pytest.mark.parametrize(
    "path",
    [
        "purchase-orders/",
        "supplier-bills/",
        "supplier-payments/",
        "supplier-balances/",
        "expenses/",
        "recurring-expenses/",
    ],
)
def test_what_is_bought_is_for_the_office_and_the_owner(read, room, path):
    room.bill()

    assert [read(path, role=role).status_code for role in ("owner", "office")] == [200, 200]
    assert [read(path, role=role).status_code for role in ("bottling", "stand")] == [403, 403]


def test_terms_of_a_supplier_are_sent_and_read(send, read):
    body = {"name": "Hill Lids", "terms_days": 14, "tax_number": "44", "payment_details": "Check"}

    said = made(send("suppliers/", body))

    assert {name: said[name] for name in body} == body
    assert Decimal(said["terms_days"]) == 14
