"""Pages and API of invoices with data: what is missing is said, the rest is downloaded."""

import io

import pypdf
import pytest

from apiary_sales.billing import structured_invoices
from apiary_sales.customers.models import Customer
from inventory.shared.models import House
from tests import builders, structured
from tests.billing.conftest import filled_in, invoice_of, jars, words_of

MISSING = "The code of the buyer's country is missing. Choose the country at the customer."


@pytest.fixture
def office(client, db):
    client.force_login(builders.person("office"))
    return client


@pytest.fixture
def call(client, db):
    def send(method, path, body=None, *, role="owner"):
        headers = {"Authorization": builders.authorization(role), "Idempotency-Key": "k"}
        if method == "get":
            return client.get(f"/api/v1/{path}", headers=headers)
        return client.post(
            f"/api/v1/{path}", body, content_type="application/json", headers=headers
        )

    return send


@pytest.fixture
def invoice(shop, pounds):
    House.objects.update(country_code="US")
    Customer.objects.update(country_code="US", invoice_format="ubl")
    return invoice_of(Customer.objects.get(pk=shop.pk), jars(pounds, 5))


@pytest.fixture
def without_country(invoice, without_triggers):
    """An invoice of a customer whose country nobody entered."""
    Customer.objects.update(country_code="")
    invoice.buyer = {**invoice.buyer, "country_code": ""}
    invoice.save()
    return invoice


def test_the_page_of_an_invoice_offers_both_files(office, invoice):
    page = office.get(f"/money/invoices/{invoice.pk}/").content.decode()

    assert "This customer gets: PDF and a UBL 2.1 file beside it" in words_of(page)
    ubl = office.get(f"/money/invoices/{invoice.pk}/ubl.xml")
    assert ubl["Content-Type"] == "application/xml"
    assert ubl["Content-Disposition"] == f'attachment; filename="{invoice}.xml"'
    assert structured.problems(ubl.content) == []
    hybrid = office.get(f"/money/invoices/{invoice.pk}/data.pdf")
    assert hybrid["Content-Type"] == "application/pdf"
    assert list(pypdf.PdfReader(io.BytesIO(hybrid.content)).attachments) == ["factur-x.xml"]


@pytest.mark.parametrize("file", ["ubl.xml", "data.pdf"])
def test_what_is_missing_is_said_on_the_page_and_when_a_file_is_asked_for(
    office, without_country, file
):
    page = office.get(f"/money/invoices/{without_country.pk}/").content.decode()
    refused = office.get(f"/money/invoices/{without_country.pk}/{file}", follow=True)

    assert "This customer gets invoices with data, but some of it is missing." in words_of(page)
    assert MISSING in words_of(page)
    assert "/ubl.xml" not in page
    assert refused.redirect_chain[-1][0] == f"/money/invoices/{without_country.pk}/"
    [message] = refused.context["messages"]
    assert str(message) == f"{without_country} can't be written as data. {MISSING}"


def test_the_page_of_a_customer_lists_what_is_missing_before_the_first_invoice(office, shop):
    House.objects.update(tax_number="")
    assert "Before the first invoice" not in _page_of(office, shop)

    Customer.objects.update(invoice_format="hybrid")

    page = _page_of(office, shop)
    assert "Before the first invoice with data for this customer:" in page
    for sentence in [
        "The code of your country is missing. Choose the country in the business details.",
        "Your tax number is missing. Enter it in the business details.",
        MISSING,
    ]:
        assert sentence in page
    House.objects.update(country_code="US", tax_number="00-1")
    Customer.objects.update(country_code="US")
    assert "Before the first invoice" not in _page_of(office, shop)


def _page_of(client, customer):
    return words_of(client.get(f"/customers/{customer.pk}/").content.decode())


def test_the_form_of_a_customer_keeps_country_number_format_and_reference(office, shop):
    address = f"/customers/{shop.pk}/edit/"
    form = filled_in(office.get(address)) | {
        "country_code": "DE",
        "tax_number": "DE 987654324",
        "invoice_format": "ubl",
        "buyer_reference": "04011000-12345-34",
    }

    assert office.post(address, form).status_code == 302

    shop.refresh_from_db()
    kept = (shop.country_code, shop.tax_number, shop.invoice_format, shop.buyer_reference)
    assert kept == ("DE", "DE 987654324", "ubl", "04011000-12345-34")


def test_the_business_details_keep_country_and_account(office, house):
    form = filled_in(office.get("/money/settings/")) | {
        "country_code": "DE",
        "bank_account": "DE89 3704 0044 0532 0130 00",
        "bank_code": "COBADEFFXXX",
    }

    assert office.post("/money/settings/", form).status_code == 302

    house.refresh_from_db()
    assert (house.country_code, house.bank_code) == ("DE", "COBADEFFXXX")
    assert house.bank_account == "DE89 3704 0044 0532 0130 00"


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        # The published example of an IBAN with one digit changed.
        (
            "bank_account",
            "DE89 3704 0044 0532 0130 01",
            "This IBAN has a wrong letter or digit. Compare it with your bank statement.",
        ),
        (
            "bank_code",
            "COBA-DE",
            "Enter the BIC of the bank, 8 or 11 letters and digits, or leave it empty.",
        ),
    ],
)
def test_a_wrong_account_is_refused_at_its_field(office, house, name, value, said):
    form = filled_in(office.get("/money/settings/")) | {name: value}

    response = office.post("/money/settings/", form)

    assert response.status_code == 422
    assert response.context["form"].errors[name] == [said]


def test_files_of_an_invoice_through_the_api(call, invoice):
    ubl = call("get", f"invoices/{invoice.pk}/ubl.xml")
    hybrid = call("get", f"invoices/{invoice.pk}/data.pdf")

    assert ubl["Content-Type"] == "application/xml"
    assert ubl.content == structured_invoices.ubl(invoice)
    assert hybrid["Content-Type"] == "application/pdf"
    assert hybrid.content == structured_invoices.hybrid(invoice)


@pytest.mark.parametrize("file", ["ubl.xml", "data.pdf"])
def test_the_api_refuses_in_the_same_words(call, without_country, file):
    response = call("get", f"invoices/{without_country.pk}/{file}")

    assert response.status_code == 409
    assert response.json()["code"] == "not_allowed_now"
    assert response.json()["detail"] == f"{without_country} can't be written as data. {MISSING}"


@pytest.mark.parametrize("file", ["ubl.xml", "data.pdf"])
def test_who_may_not_see_money_gets_no_file(call, invoice, file):
    assert call("get", f"invoices/{invoice.pk}/{file}", role="bottling").status_code == 403


def test_how_a_customer_gets_invoices_is_said_through_the_api(call, shop):
    said = {
        "invoice_format": "hybrid",
        "country_code": "DE",
        "tax_number": "DE 987654324",
        "language": "es",
    }

    response = call("post", f"customers/{shop.pk}/invoice-details/", said)

    assert response.status_code == 200
    assert {name: response.json()[name] for name in said} == said
    shop.refresh_from_db()
    assert (shop.invoice_format, shop.terms_days, shop.city) == ("hybrid", 30, "Millbrook")


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("country_code", "XX", "Enter a country by its two letters, for example ES."),
        ("invoice_format", "fax", None),
        ("language", "xx", None),
        ("tax_number", "x" * 41, None),
    ],
)
def test_a_wrong_detail_is_refused_at_its_field_and_changes_nothing(call, shop, name, value, said):
    response = call("post", f"customers/{shop.pk}/invoice-details/", {name: value})

    assert response.status_code in (400, 422)
    [error] = response.json()["errors"]
    assert error["field"] == name
    assert said is None or error["detail"] == said
    before = getattr(shop, name)
    shop.refresh_from_db()
    assert getattr(shop, name) == before
