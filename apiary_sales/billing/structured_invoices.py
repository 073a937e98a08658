"""Invoices and credit notes with data for the buyer's program, by EN 16931.

UBL 2.1 is a file of its own; Factur-X (profile EN 16931) is CII inside a PDF/A-3b. `factur-x`
writes both from the same business terms, so that they say the same. Its checks are the tests':
nothing here asks a network.
"""

from collections.abc import Mapping
from datetime import UTC, datetime, time
from functools import cache
from pathlib import Path
from typing import Any

from django.utils import translation
from django.utils.translation import gettext as _

from apiary_sales.billing import business_terms, papers
from apiary_sales.billing.business_terms import Bill
from apiary_sales.billing.models import Invoice
from apiary_sales.billing.queries import money
from apiary_sales.billing.services import invoices
from apiary_sales.customers.models import Customer
from apiary_sales.customers.rules import missing_for_data
from inventory.shared import documents
from inventory.shared.errors import NotAllowedNow
from inventory.shared.models import House
from inventory.shared.press import DataInside

PROFILE = "en16931"
# As the metadata of the PDF call the profile.
PROFILE_IN_METADATA = "EN 16931"
# Factur-X fixes the name.
FILE_INSIDE = "factur-x.xml"
ADDRESS = ("name", "street", "city", "region", "postal_code", "country")
METADATA = "{urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#}"


def missing(invoice: Invoice) -> list[str]:
    """Return, in a sentence each, why a bill can't have data; empty where it can."""
    if invoice.customer is None:
        return [_("It has no buyer: it was sold at the stand.")]
    if not invoice.lines.exists():
        return [_("It was written before the books began here, so its lines are not known.")]
    bill = _bill(invoice)
    return missing_for_data(bill.seller, bill.buyer)


def ubl(invoice: Invoice) -> bytes:
    """Return an invoice or credit note as UBL 2.1; raises `NotAllowedNow` where data is missing."""
    content = _xml(invoice, "ubl-2.1")
    # The library writes euros there, whatever the currency of the bill.
    rounding = '<cbc:PayableRoundingAmount currencyID="{}">'
    return content.replace(
        rounding.format("EUR").encode(), rounding.format(invoice.currency).encode()
    )


def cii(invoice: Invoice) -> bytes:
    """Return the data of a bill as CII, as it is in the PDF; raises as `ubl`."""
    return _xml(invoice, "factur-x")


def hybrid(invoice: Invoice) -> bytes:
    """Return a bill as PDF/A-3b with its data inside; raises as `ubl`, and `PdfUnavailable`."""
    content = cii(invoice)
    with translation.override(invoice.language):
        return documents.render_archive(
            papers.invoice_template(invoice),
            papers.invoice_context(invoice),
            inside=DataInside(
                name=FILE_INSIDE,
                description=_("The data of this invoice"),
                content=content,
                written_at=datetime.combine(invoice.issued_on, time(), UTC),
                metadata=_metadata(),
            ),
        )


def paper(invoice: Invoice) -> bytes:
    """Return a bill as the PDF that its customer gets: with the data inside where that was chosen.

    Raises as `hybrid`.
    """
    wants_hybrid = _format_of(invoice) == Customer.InvoiceFormat.HYBRID
    return hybrid(invoice) if wants_hybrid else papers.invoice(invoice)


def beside(invoice: Invoice) -> dict[str, bytes]:
    """Return what the customer of a bill gets beside the PDF, by file name; raises as `ubl`."""
    wants_ubl = _format_of(invoice) == Customer.InvoiceFormat.UBL
    return {f"{invoice}.xml": ubl(invoice)} if wants_ubl else {}


def _format_of(invoice: Invoice) -> str:
    return invoice.customer.invoice_format if invoice.customer else Customer.InvoiceFormat.PDF


def _xml(invoice: Invoice, syntax: str) -> bytes:
    if lacking := missing(invoice):
        raise NotAllowedNow(
            " ".join([_("%(invoice)s can't be written as data.") % {"invoice": invoice}, *lacking])
        )
    from facturx.generate_xml import generate_xml

    with translation.override(invoice.language):
        terms = business_terms.terms_of(_bill(invoice))
    # The tests check against the schemas, which take longer to read than the data to write.
    content: bytes = generate_xml(
        terms, flavor=syntax, level=PROFILE, check_xsd=False, check_schematron=None
    )
    return content


def _bill(invoice: Invoice) -> Bill:
    customer = invoice.customer
    return Bill(
        invoice=invoice,
        lines=list(invoice.lines.all()),
        seller=_filled(invoice.seller, invoices.seller_of(House.current())),
        buyer=_filled(invoice.buyer, invoices.buyer_of(customer) if customer else {}),
        paid_cents=sum(share.cents for share in money.settled_by(invoice)),
    )


def _filled(printed: Mapping[str, Any], now: Mapping[str, str]) -> dict[str, str]:
    """Return a party as the bill says it.

    While the address is the same, what the bill does not say yet is as it is known now: the code of
    a country, which is not printed, need not be there on the day of the first invoice.
    """
    said = {name: value for name, value in printed.items() if value}
    if all(printed.get(name, "") == now.get(name, "") for name in ADDRESS):
        return {**now, **said}
    return said


@cache
def _metadata() -> tuple[bytes, ...]:
    """Return what the metadata of a hybrid PDF say of the data, and describe it, as RDF."""
    import facturx
    from lxml import etree

    # The library ships the description that PDF/A wants of metadata which it does not know.
    folder = Path(facturx.__file__).parent / "xmp"
    root = etree.fromstring((folder / "Factur-X_extension_schema.xmp").read_bytes())
    root.find(f".//{METADATA}ConformanceLevel").text = PROFILE_IN_METADATA
    return tuple(etree.tostring(part) for part in root.iterchildren("{*}Description"))
