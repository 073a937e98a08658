"""Invoices that go to the customer's program: with their data inside the PDF, or beside it."""

import io

import pypdf
import pytest
from django.core import mail
from django.urls import reverse

from apiary_sales.billing import structured_invoices
from apiary_sales.customers.models import Customer
from apiary_sales.mailing.models import Email
from inventory.shared.errors import NotAllowedNow
from inventory.shared.models import House
from tests.mailing.test_emails import send

pytestmark = pytest.mark.django_db


@pytest.fixture
def gets(invoice):
    """Let the customer get invoices in a format, and return the invoice as it is then."""

    def gets(invoice_format, country_code="US"):
        House.objects.update(country_code="US")
        Customer.objects.update(country_code=country_code, invoice_format=invoice_format)
        return type(invoice).objects.get(pk=invoice.pk)

    return gets


def test_a_ubl_file_goes_beside_the_pdf_and_is_kept_as_it_was_sent(at_once, gets, client, owner):
    invoice = gets("ubl")

    email = send(invoice)

    [sent] = mail.outbox
    [(pdf_name, pdf, pdf_type), (xml_name, xml, xml_type)] = sent.attachments
    assert (pdf_name, pdf_type) == (f"Invoice {invoice}.pdf", "application/pdf")
    assert (xml_name, xml_type) == (f"{invoice}.xml", "application/xml")
    assert pdf.startswith(b"%PDF-")
    data = structured_invoices.ubl(invoice)
    assert (xml if isinstance(xml, bytes) else xml.encode()) == data

    client.force_login(owner)
    kept = email.papers.get(file_name=xml_name)
    response = client.get(reverse("mailing:email_paper", args=[kept.pk]))
    assert response["Content-Type"] == "application/xml"
    assert response.content == data


def test_a_hybrid_invoice_goes_with_its_data_inside(at_once, gets):
    send(gets("hybrid"))

    [sent] = mail.outbox
    [(_name, pdf, _type)] = sent.attachments
    assert list(pypdf.PdfReader(io.BytesIO(pdf)).attachments) == ["factur-x.xml"]


def test_an_invoice_whose_data_is_missing_is_not_sent_without_it(at_once, gets):
    invoice = gets("hybrid", country_code="")

    with pytest.raises(NotAllowedNow) as refused:
        send(invoice)

    assert refused.value.message == (
        f"{invoice} can't be written as data. The code of the buyer's country is missing. "
        "Choose the country at the customer."
    )
    assert not mail.outbox
    assert not Email.objects.exists()
