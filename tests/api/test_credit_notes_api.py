"""Credit notes, corrected invoices and goods back through the API."""

import pytest

from apiary_sales.billing.models import Invoice
from inventory.stock.models import Balance
from tests import builders
from tests.billing.conftest import house, invoice_of, jars, pounds, shelf, shop, stand  # noqa: F401

pytestmark = pytest.mark.django_db


@pytest.fixture
def invoice(shop, pounds):  # noqa: F811
    return invoice_of(shop, jars(pounds, 24, "6.10"))


@pytest.fixture
def send(client):
    def make(path, body, key="c1", role="office"):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{path}",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": key},
        )

    return make


def test_some_goods_are_credited_and_some_come_back(send, invoice, pounds):  # noqa: F811
    line = invoice.lines.get()
    body = {
        "reason": "Lids leak",
        "lines": [{"line": line.pk, "quantity": "5"}],
        "goods_back": [{"goods": line.fulfilment_line_id, "quantity": 4, "place": "shelf"}],
        "expected_total_cents": 3_050,
    }

    answer = send(f"invoices/{invoice.pk}/credit-notes/", body)

    assert (answer.status_code, answer.json()["total_cents"]) == (201, -3_050)
    [credited] = answer.json()["lines"]
    assert (credited["credits_line"], credited["credited_as"]) == (line.pk, "goods")
    assert Balance.objects.get(place__code="shelf", item=pounds.item).quantity == 76
    again = send(f"invoices/{invoice.pk}/credit-notes/", body)
    assert again.content == answer.content
    assert Invoice.objects.count() == 2


@pytest.mark.parametrize(
    ("figures", "field", "way_out"),
    [
        ({}, "lines.0", "give a quantity, a price or an amount"),
        ({"quantity": None}, "lines.0", "give a quantity, a price or an amount"),
        ({"quantity": "0.5"}, "lines.0.quantity", "Enter a whole number, or credit an amount"),
    ],
)
def test_a_line_without_figures_and_half_a_jar_are_refused(send, invoice, figures, field, way_out):
    body = {"reason": "Lids leak", "lines": [{"line": invoice.lines.get().pk, **figures}]}

    answer = send(f"invoices/{invoice.pk}/credit-notes/", body)

    [error] = answer.json()["errors"]
    assert error["field"] == field
    assert way_out in error["detail"]
    assert Invoice.objects.count() == 1


def test_without_lines_all_that_is_left_is_credited(send, invoice):
    answer = send(f"invoices/{invoice.pk}/credit-notes/", {"reason": "Lids leak"})

    assert (answer.status_code, answer.json()["total_cents"]) == (201, -14_640)


def test_other_figures_than_were_shown_are_refused_with_the_new_ones(send, invoice):
    answer = send(
        f"invoices/{invoice.pk}/credit-notes/", {"reason": "x", "expected_total_cents": 1}
    )

    assert (answer.status_code, answer.json()["code"]) == (409, "figures_changed")
    assert Invoice.objects.count() == 1


def test_an_invoice_is_corrected(send, invoice):
    line = invoice.lines.get()
    body = {"reason": "Agreed 5.90", "changes": [{"line": line.pk, "unit_price": "5.9000"}]}

    answer = send(f"invoices/{invoice.pk}/corrected/", body)

    assert (answer.status_code, answer.json()["total_cents"]) == (201, 14_160)
    assert (answer.json()["corrects"], answer.json()["corrects_id"]) == (str(invoice), invoice.pk)


def test_goods_are_booked_back_without_a_credit(send, invoice, pounds):  # noqa: F811
    goods = invoice.lines.get().fulfilment_line_id
    body = {
        "reason": "Found in the van",
        "goods_back": [{"goods": goods, "quantity": 2, "place": "shelf"}],
    }

    answer = send(f"orders/{invoice.order.number}/goods-back/", body)

    assert answer.status_code == 201
    assert Balance.objects.get(place__code="shelf", item=pounds.item).quantity == 74


@pytest.mark.parametrize("role", ["stand", "bottling"])
def test_only_the_office_may(send, invoice, role):
    assert (
        send(f"invoices/{invoice.pk}/credit-notes/", {"reason": "x"}, role=role).status_code == 403
    )
