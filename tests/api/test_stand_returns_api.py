"""Returns at the stand through the API: the same services, rights and refusals as the pages."""

from datetime import timedelta

import pytest
from django.utils import timezone

from apiary_sales.billing.models import Payment
from inventory.stock.models import Place
from tests import builders
from tests.billing.conftest import jars
from tests.billing.stand_room import sold

pytestmark = pytest.mark.django_db


@pytest.fixture
def stand():
    return builders.place("stand", Place.Kind.STAND, name="Stand")


@pytest.fixture
def pounds(stand):
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, stand, 24, code="P26-002")
    return product


@pytest.fixture
def post(client):
    def post(role, address, body, key="k1"):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{address}/",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": key},
        )

    return post


def one_back(receipt, pieces=1):
    return {"lines": [{"line": receipt.lines.get().pk, "pieces": pieces}], "reason": "Leaks"}


def money_out():
    return -sum(row.amount_cents for row in Payment.objects.filter(amount_cents__lt=0))


def test_a_jar_of_today_comes_back_once(post, stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"))

    first = post("stand", f"invoices/{receipt.pk}/returns", one_back(receipt))
    again = post("stand", f"invoices/{receipt.pk}/returns", one_back(receipt))
    too_many = post("stand", f"invoices/{receipt.pk}/returns", one_back(receipt, 3), key="k2")

    assert (first.status_code, first.json()["total_cents"]) == (201, -800)
    assert again.content == first.content
    assert too_many.status_code == 422
    assert "lines.0.pieces" in str(too_many.json())
    assert money_out() == 800


def test_of_an_older_day_the_office_is_asked_and_approves(post, client, stand, pounds):
    receipt = sold(stand, jars(pounds, 3, "8.00"), sold_at=timezone.now() - timedelta(days=1))

    refused = post("stand", f"invoices/{receipt.pk}/returns", one_back(receipt))
    asked = post("stand", f"invoices/{receipt.pk}/return-requests", one_back(receipt)).json()
    forbidden = post("stand", f"return-requests/{asked['id']}/approve", {})
    approved = post("office", f"return-requests/{asked['id']}/approve", {})
    done = post("stand", f"return-requests/{asked['id']}/give-back", {}, key="k3")
    listed = client.get("/api/v1/return-requests/").json()["results"]
    one = client.get(f"/api/v1/return-requests/{asked['id']}/").json()

    assert one["state"] == "given_back"
    assert refused.json()["code"] == "needs_approval"
    assert (asked["state"], asked["text"]) == ("asked", "1 × One pound")
    assert forbidden.status_code == 403
    assert approved.json()["state"] == "approved"
    assert (done.json()["state"], done.json()["credit_note"]) == ("given_back", "C26-00001")
    assert [row["id"] for row in listed] == [asked["id"]]
    assert money_out() == 800


def test_goods_without_a_receipt_are_refused_or_put_to_one(post, stand, pounds):
    body = {
        "place": "stand",
        "product": "one-pound",
        "pieces": 2,
        "price_cents": 900,
        "reason": "Too dark",
    }
    asked = post("stand", "return-requests/without-receipt", body).json()

    none_yet = post("office", f"return-requests/{asked['id']}/approve", {})
    refused = post("office", f"return-requests/{asked['id']}/refuse", {"note": "Not ours"}, "k2")
    receipt = sold(stand, jars(pounds, 2, "8.00"))
    other = post("stand", "return-requests/without-receipt", body, "k3").json()
    named = {"receipt": receipt.pk}
    approved = post("office", f"return-requests/{other['id']}/approve", named, "k4")

    assert none_yet.status_code == 422
    assert "receipt" in str(none_yet.json())
    assert refused.json()["state"] == "refused"
    assert (approved.json()["state"], approved.json()["receipt_id"]) == ("approved", receipt.pk)
