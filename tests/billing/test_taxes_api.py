"""Taxes through the API: rates, categories, certificates, late ones, and the tax return."""

from datetime import timedelta

import pytest

from apiary_sales.billing.models import LateCertificate
from apiary_sales.customers.models import ExemptionCertificate
from apiary_sales.pricing.models import GoodsCategory, TaxRate
from tests import builders
from tests.billing.conftest import TODAY, invoice_of, jars

ABSURD = [None, "", " ", "x" * 500, -1, 10**30, 1.5, True, [], {}, "2026-02-30", "\x00"]


@pytest.fixture
def call(client, db):
    def send(method, path, body=None, *, role="owner", key=None):
        headers = {"Authorization": builders.authorization(role), "Idempotency-Key": key or path}
        if method == "get":
            return client.get(f"/api/v1/{path}", body, headers=headers)
        return client.post(
            f"/api/v1/{path}", body, content_type="application/json", headers=headers
        )

    return send


RATE = {
    "name": "State",
    "jurisdiction": "Iowa",
    "goods": "honey",
    "percent": "6.25",
    "valid_from": "2026-01-01",
}
CATEGORY = {
    "goods": "honey",
    "category": "E",
    "reason": "food at home",
    "valid_from": "2026-01-01",
}
CERTIFICATE = {
    "number": "IA-7",
    "jurisdiction": "Iowa",
    "reason": "resale",
    "other_reason": "",
    "valid_from": "2026-09-11",
    "expires": "2027-09-11",
}


def test_rates_and_categories_are_set_and_listed(call):
    assert call("post", "tax-rates/", RATE).status_code == 201
    assert call("post", "tax-categories/", CATEGORY).status_code == 201

    [rate] = call("get", "tax-rates/").json()["results"]
    [said] = call("get", "tax-categories/").json()["results"]

    assert (rate["jurisdiction"], rate["percent"]) == ("Iowa", "6.2500")
    assert (said["category"], said["reason"]) == ("E", "food at home")
    answer = call("post", "tax-categories/", CATEGORY | {"reason": ""}, key="k2")
    assert answer.status_code == 422
    assert "Say why these goods are exempt" in str(answer.json())
    assert (TaxRate.objects.count(), GoodsCategory.objects.count()) == (1, 1)


def test_a_certificate_is_accepted_listed_and_ended(call, shop):
    path = f"customers/{shop.pk}/certificates/"

    made = call("post", path, CERTIFICATE)
    again = call("post", path, CERTIFICATE)

    assert made.status_code == 201
    assert (again.status_code, again.content) == (201, made.content)
    [listed] = call("get", "certificates/").json()["results"]
    assert (listed["customer"], listed["number"]) == ("Corner Grocery", "IA-7")
    [inside] = call("get", f"customers/{shop.pk}/").json()["certificates"]
    assert inside["expires"] == "2027-09-11"
    ended = call("post", f"certificates/{listed['id']}/end/", {"expires": "2026-12-31"})
    assert ended.json()["expires"] == "2026-12-31"
    refused = call(
        "post", f"certificates/{listed['id']}/end/", {"expires": "2026-01-01"}, key="again"
    )
    assert refused.status_code == 422
    assert ExemptionCertificate.objects.count() == 1


def test_a_late_certificate_frees_an_invoice_and_the_return_follows(call, shop, pounds):
    call("post", "tax-rates/", RATE)
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    [row] = call("get", "tax-return/").json()["taxes"]
    assert (row["jurisdiction"], row["base_cents"], row["tax_cents"]) == ("Iowa", 6_000, 375)
    certificate = builders.certificate(shop, "IA-7", valid_from=TODAY + timedelta(days=1))
    path = f"certificates/{certificate.pk}/invoices/{invoice.pk}/"

    assert call("post", path, {"note": "in time"}, role="office").status_code == 403
    wrong = call("post", path, {"note": "in time", "expected_total_cents": 1}, key="a")
    assert wrong.status_code in (409, 422)
    answer = call("post", path, {"note": "in time", "expected_total_cents": 6_000}, key="b")

    assert answer.status_code == 201
    assert (answer.json()["total_cents"], answer.json()["tax_cents"]) == (6_000, 0)
    assert answer.json()["lines"][0]["tax_category"] == "E"
    assert LateCertificate.objects.count() == 1
    found = call("get", "tax-return/", {"jurisdiction": "Iowa"}).json()
    assert (found["tax_cents"], found["difference_cents"]) == (0, 0)
    [sale] = call("get", "exempt-sales/").json()
    assert (sale["certificate"]["number"], sale["amount_cents"]) == ("IA-7", 6_000)


@pytest.mark.parametrize("path", ["tax-return/", "exempt-sales/", "certificates/"])
def test_who_sees_no_money_sees_no_tax(call, path):
    assert call("get", path, role="stand").status_code == 403


def test_wrong_days_of_a_return_are_told(call):
    assert call("get", "tax-return/", {"since": "soon"}).status_code == 400


def test_whatever_stands_in_a_field_is_answered_and_never_a_fault(call, shop, pounds):
    certificate = builders.certificate(shop, "IA-7")
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    bodies = {
        "tax-rates/": RATE,
        "tax-categories/": CATEGORY,
        f"customers/{shop.pk}/certificates/": CERTIFICATE,
        f"certificates/{certificate.pk}/end/": {"expires": "2027-01-01"},
        f"certificates/{certificate.pk}/invoices/{invoice.pk}/": {
            "note": "x",
            "expected_total_cents": 1,
        },
    }

    for path, body in bodies.items():
        for name in body:
            for number, value in enumerate(ABSURD):
                answer = call("post", path, body | {name: value}, key=f"{name}{number}")
                assert answer.status_code in (200, 201, 400, 409, 422), (path, name, value)
