"""What papers say and in which language; receipts on rolls; words across the page; the logo."""

import io
import re
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import translation
from PIL import Image
from pypdf import PdfReader

from apiary_sales.billing import papers
from apiary_sales.billing.models import Invoice
from apiary_sales.billing.services import credit_notes, payments
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.orders import papers as order_papers
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import orders as found
from apiary_sales.orders.rules.lines import LineWanted
from inventory.shared import documents, logo_files
from inventory.shared.errors import BadValue
from inventory.shared.models import House
from inventory.shared.services import house as house_details
from tests import builders
from tests.billing.conftest import TODAY, days, invoice_of, jars, order_of, pay, words_of

pytestmark = pytest.mark.django_db

MILLIMETRES_PER_POINT = 25.4 / 72
DRAWING = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 6">'
    b'<path d="M0 0h20v6z" fill="#840"/></svg>'
)


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.FILES_DIR = tmp_path / "files"


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


def read(pdf):
    return PdfReader(io.BytesIO(pdf))


def text_of(pdf):
    return " ".join(" ".join(page.extract_text() for page in read(pdf).pages).split())


def on_page(order):
    return found.for_page().get(pk=order.pk)


def picture(kind="PNG", side=40, **more):
    written = io.BytesIO()
    Image.new("RGB", (side, side), "#804000").save(written, format=kind, **more)
    return written.getvalue()


def upload(content, name="logo.png"):
    return house_details.set_logo(file=SimpleUploadedFile(name, content))


def sale_of(pounds, stand_place, lines=1, **more):
    person = builders.person()
    return stand_sales.sell(
        lines=[jars(pounds, 1, "8.00") for _line in range(lines)],
        place=stand_place,
        payments=builders.paid("cash", 100_000),
        sold_by=person,
        key=builders.new_key(),
        **more,
    ).invoice


# The language.


def test_a_paper_keeps_the_language_it_was_issued_in_whoever_reads_it(shop, pounds, office):
    shop.language = "es"
    shop.save()
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    shop.language = "en"
    shop.save()

    answer = office.get(reverse("billing:invoice_pdf", args=[invoice.pk]))

    text = text_of(answer.content)
    assert "Factura" in text
    assert "10 sep 2026" in text
    assert "Página 1 de 1" in text
    assert "Total $60.00" in text
    assert answer["Content-Disposition"] == f'inline; filename="Invoice {invoice}.pdf"'
    assert translation.get_language() == "en"


def test_a_credit_note_is_in_the_language_of_its_invoice(shop, pounds, owner, key):
    shop.language = "es"
    shop.save()
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    shop.language = ""
    shop.save()

    note = credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Roto")

    assert "Nota de crédito" in text_of(papers.invoice(note))


def test_the_papers_of_an_order_are_in_the_language_of_the_customer(shop, pounds):
    order = order_of(shop, jars(pounds, 10, "6.00"), fill=False)
    shop.language = "es"
    shop.save()

    for pdf in (
        order_papers.confirmation(on_page(order)),
        papers.pro_forma(on_page(order)),
        papers.statement(shop, TODAY - days(30), TODAY),
    ):
        assert "10 sep 2026" in text_of(pdf)
        assert "Sep 10, 2026" not in text_of(pdf)


def test_charges_are_named_in_the_language_of_the_customer(shop, pounds):
    shop.language = "es"
    shop.save()
    deposit = LineWanted(OrderLine.Kind.DRUM_DEPOSIT, 1, Decimal("40.00"))

    invoice = invoice_of(shop, jars(pounds, 1, "6.00"), deposit)

    assert [line.description for line in invoice.lines.order_by("id")][1:] == [
        "Depósito por tambor"
    ]
    assert translation.get_language().startswith("en")


def test_an_exemption_is_written_in_the_language_of_the_paper(shop, pounds):
    shop.language = "es"
    shop.save()
    builders.certificate(shop, "IA-7781")

    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    assert invoice.exemption != "Exempt from sales tax, certificate IA-7781"
    assert "IA-7781" in invoice.exemption


# What the new papers say.


def test_a_confirmation_says_what_was_ordered_at_which_price(shop, pounds, office):
    shop.tax_number = "00-7654321"
    shop.save()
    order = order_of(
        shop, jars(pounds, 10, "6.00"), fill=False, customer_reference="PO 88", note="Back door"
    )

    answer = office.get(reverse("orders:confirmation_pdf", args=[order.number]))

    text = text_of(answer.content)
    for wanted in [
        "Order confirmation",
        order.number,
        "Your reference PO 88",
        "30 days net",
        "Tax number 00-0000042",
        "Tax number 00-7654321",
        "One pound 10 pieces $6.00 $60.00",
        "Total before tax $60.00",
        "Back door",
    ]:
        assert wanted in text, wanted


def test_a_pro_forma_is_no_invoice_and_takes_no_number(shop, pounds, honey_tax, office):
    order = order_of(shop, jars(pounds, 10, "6.00"), fill=False)

    text = text_of(office.get(reverse("billing:pro_forma_pdf", args=[order.number])).content)

    # 6.25 % of 60.00 are 3.75
    for wanted in [
        "Pro-forma",
        f"For order {order.number}",
        "This is no invoice.",
        "State sales tax 6.25 % $60.00 $3.75",
        "Expected total $63.75",
    ]:
        assert wanted in text, wanted
    assert not Invoice.objects.exists()
    assert str(invoice_of(shop, jars(pounds, 1, "6.00"))) == "F26-00001"


def test_a_receipt_for_a_payment_says_what_it_paid_and_what_stays_on_account(shop, pounds, office):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    made = pay(shop, 7_500, reference="4410")

    text = text_of(office.get(reverse("billing:payment_pdf", args=[made.pk])).content)

    for wanted in [
        "Receipt for a payment",
        "Paid by check 4410",
        f"Invoice {invoice} Sep 10, 2026 $60.00 $60.00 $0.00",
        "Used for invoices $60.00",
        "Stays on account $15.00",
        "Received $75.00",
    ]:
        assert wanted in text, wanted


def test_an_invoice_names_no_payment_that_was_undone(shop, pounds, office, owner, key):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    bounced = pay(shop, 4_000)
    payments.reverse(payment=bounced, reversed_by=owner, key=key(), reason="Check bounced.")
    pay(shop, 1_000)

    text = text_of(office.get(reverse("billing:invoice_pdf", args=[invoice.pk])).content)

    assert "−$40.00" not in text
    assert "−−" not in text
    assert "check −$10.00 Balance due $50.00" in text


def test_money_given_back_has_a_paper_and_the_undoing_of_a_payment_has_none(shop, pounds, office):
    made = pay(shop, 7_500)
    back = payments.pay_back(
        customer=shop,
        amount_cents=2_500,
        method="cash",
        paid_by=builders.person(),
        key=builders.new_key(),
    )
    undone = payments.reverse(
        payment=back, reversed_by=builders.person(), key=builders.new_key(), reason="Slip"
    )

    assert "Given back $25.00" in text_of(papers.payment(back))
    assert "UNDONE" in text_of(papers.payment(back)).upper()
    assert "Undone on Sep 10, 2026: Slip" in text_of(papers.payment(back))
    assert office.get(reverse("billing:payment_pdf", args=[undone.pk])).status_code == 404
    assert office.get(reverse("billing:payment_pdf", args=[made.pk])).status_code == 200


def test_what_is_paid_at_once_has_neither_confirmation_nor_pro_forma(pounds, stand, office):
    receipt = sale_of(pounds, stand)
    number = receipt.order.number

    assert office.get(reverse("orders:confirmation_pdf", args=[number])).status_code == 404
    assert office.get(reverse("billing:pro_forma_pdf", args=[number])).status_code == 404


# Across the page.


@pytest.mark.parametrize("status", ["cancelled", "declined", "withdrawn", "expired", "superseded"])
def test_the_papers_of_an_order_that_is_off_say_so_across_the_page(shop, pounds, status):
    order = order_of(shop, jars(pounds, 1), fill=False)
    Order.objects.filter(pk=order.pk).update(status=status)
    order = on_page(order)
    word = order.get_status_display()

    for name, context in (
        ("quote", order_papers.quote_context(order)),
        ("order_confirmation", order_papers.order_context(order)),
        ("pro_forma", papers.pro_forma_context(order)),
    ):
        html = documents.render_html(f"documents/{name}.html", context)
        assert f'<p class="across">{word}</p>' in html


def test_an_open_order_has_nothing_across_its_papers(shop, pounds):
    order = on_page(order_of(shop, jars(pounds, 1), fill=False))

    html = documents.render_html("documents/quote.html", order_papers.quote_context(order))

    assert 'class="across"' not in html


def test_an_invoice_says_credited_across_the_page_once_all_of_it_is(shop, pounds, owner, key):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    def across():
        html = documents.render_html("documents/invoice.html", papers.invoice_context(invoice))
        return '<p class="across">Credited</p>' in html

    before = across()
    line = credit_notes.LineCredit(invoice.lines.get(), allowance_cents=100)
    credit_notes.credit(invoice=invoice, lines=[line], issued_by=owner, key=key(), reason="Late")
    partly = across()
    credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Lids leak")

    assert (before, partly, across()) == (False, False, True)


def test_a_word_across_is_on_every_page(shop, pounds, owner, key):
    invoice = invoice_of(shop, *[jars(pounds, 1, "6.00") for _line in range(60)])
    credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Lids leak")

    pages = read(papers.invoice(invoice)).pages

    assert len(pages) > 1
    for page in pages:
        assert "CREDITED" in page.extract_text().upper().replace("CREDITED IN FULL", "")


# Receipts on rolls.


@pytest.mark.parametrize("paper", ["58", "80"])
@pytest.mark.parametrize("lines", [1, 7, 24])
def test_a_receipt_on_a_roll_is_one_piece_as_long_as_what_is_on_it(pounds, stand, paper, lines):
    receipt = sale_of(pounds, stand, lines)

    [page] = read(papers.receipt(receipt, paper)).pages

    width, length = (float(side) * MILLIMETRES_PER_POINT for side in page.mediabox[2:])
    assert width == pytest.approx(int(paper), abs=0.1)
    text = " ".join(page.extract_text().split())
    assert text.count("One pound") == lines
    assert str(receipt) in text
    assert "one year of age." in text
    # The last words are as far from the end as the foot is long, not more and not less.
    lowest = []
    page.extract_text(
        visitor_text=lambda text, _cm, tm, *_font: lowest.append(tm[5]) if text.strip() else None
    )
    assert 5 < min(lowest) * MILLIMETRES_PER_POINT < 15
    assert length > 60


def test_the_house_chooses_the_paper_of_receipts_and_each_print_may_choose_another(
    pounds, stand, client
):
    client.force_login(builders.person("stand"))
    receipt = sale_of(pounds, stand)
    address = reverse("billing:receipt_pdf", args=[receipt.pk])
    House.objects.update(receipt_paper="80")

    def width(query=""):
        [page] = read(client.get(address + query).content).pages
        return round(float(page.mediabox.width) * MILLIMETRES_PER_POINT)

    assert (width(), width("?paper=58"), width("?paper=page")) == (80, 58, 216)
    assert client.get(f"{address}?paper=70").status_code == 404
    page = client.get(reverse("billing:receipt", args=[receipt.pk])).content.decode()
    # The paper of the house comes first.
    assert re.findall(r"Print on (.+)", page) == [
        "a roll of 80 mm",
        "Letter paper",
        "a roll of 58 mm",
    ]


@pytest.mark.usefixtures("without_triggers")
def test_a_receipt_written_later_prints_its_day_of_sale_too(pounds, stand):
    receipt = sale_of(pounds, stand)
    Invoice.objects.filter(pk=receipt.pk).update(supplied_on=TODAY - days(2))
    receipt.refresh_from_db()

    for paper in ("page", "58"):
        text = text_of(papers.receipt(receipt, paper))
        assert "Date Sep 10, 2026" in text
        assert "Sold on Sep 8, 2026" in text


def test_a_receipt_that_was_undone_says_so_on_a_roll(pounds, stand, owner, key):
    receipt = sale_of(pounds, stand)
    stand_sales.take_back(receipt=receipt, taken_by=owner, key=key(), reason="Changed mind")

    text = text_of(papers.receipt(receipt, "58"))

    assert "Cancelled on Sep 10, 2026 by credit note C26-00001." in text


@pytest.mark.usefixtures("without_triggers")
def test_a_receipt_names_each_tax_and_the_rounding(pounds, stand, honey_tax):
    receipt = sale_of(pounds, stand)
    # 8.00 and 6.25 % of it, 0.50
    Invoice.objects.filter(pk=receipt.pk).update(rounding_cents=1, total_cents=851)
    receipt.refresh_from_db()

    text = text_of(papers.receipt(receipt, "80"))

    assert "Goods $8.00 State sales tax 6.25 % $0.50 Rounding $0.01 Total $8.51" in text


# The logo.


@pytest.mark.parametrize(
    ("content", "kind"),
    [(picture(), "png"), (picture("JPEG"), "jpeg"), (DRAWING, "svg+xml")],
)
def test_a_logo_is_on_every_paper(shop, pounds, stand, content, kind, settings):
    house = upload(content)

    html = documents.render_html(
        "documents/invoice.html", papers.invoice_context(invoice_of(shop, jars(pounds, 1)))
    )

    assert f'<img class="logo" src="data:image/{kind};base64,' in html
    [kept] = settings.FILES_DIR.iterdir()
    assert kept.stat().st_mode & 0o777 == 0o600
    assert kept.name == house.logo.name
    assert read(papers.receipt(sale_of(pounds, stand), "58")).pages


def test_a_logo_is_kept_without_what_is_not_picture():
    exif = Image.Exif()
    exif[0x010E] = "taken at the owner's home"
    large = picture("JPEG", side=3_000, exif=exif)

    kept = logo_files.cleaned(large)

    assert b"owner" in large
    assert b"owner" not in kept
    with Image.open(io.BytesIO(kept)) as image:
        assert image.size == (1_200, 1_200)


@pytest.mark.parametrize(
    ("inside", "sentence"),
    [
        (b"<script>alert(1)</script>", "The SVG has “script” in it; only what draws is accepted."),
        (b'<path d="M0 0" onclick="x()"/>', "The SVG has a script in it."),
        (b'<image href="http://far.example/x.png"/>', "The SVG has “image” in it"),
        (b'<use href="http://far.example/x.svg#a"/>', "The SVG loads something from elsewhere."),
        (b"<style>@import 'x.css';</style>", "The SVG loads something from elsewhere."),
        (b'<path fill="url(http://far.example/x)"/>', "The SVG loads something from elsewhere."),
        (b"<foreignObject/>", "The SVG has “foreignObject” in it"),
    ],
)
def test_a_drawing_that_runs_or_loads_something_is_refused(inside, sentence):
    content = b'<svg xmlns="http://www.w3.org/2000/svg">' + inside + b"</svg>"

    with pytest.raises(BadValue, match=re.escape(sentence)) as refused:
        upload(content, "logo.svg")

    assert refused.value.parameter == "file"
    assert not House.current().logo


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "The file is empty."),
        (b"\x89PNG\r\n\x1a\nbroken", "The picture can't be opened. Save it again."),
        (b"%PDF-1.7", "The file is no picture that is accepted here."),
        (b"\x89PNG" + b"0" * 2_000_000, "The file is larger than 2 MB. Make it smaller."),
        (
            b'<!DOCTYPE svg [<!ENTITY a "b">]><svg xmlns="http://www.w3.org/2000/svg">&a;</svg>',
            "The SVG defines entities, which no drawing needs.",
        ),
    ],
)
def test_what_is_no_logo_is_refused(content, sentence):
    with pytest.raises(BadValue, match=re.escape(sentence)):
        upload(content)

    assert not House.current().logo


def repeated(times: int, levels: int) -> bytes:
    """Return groups of which each repeats the one before it so many times."""
    groups = [b'<g id="g0"><path d="M0 0"/></g>']
    for level in range(1, levels):
        uses = b'<use href="#g%d"/>' % (level - 1)
        groups.append(b'<g id="g%d">' % level + uses * times + b"</g>")
    return b"".join([*groups, b'<use href="#g%d"/>' % (levels - 1)])


@pytest.mark.parametrize(
    ("inside", "sentence"),
    [
        (b"<g>" * 49 + b"<g/>" + b"</g>" * 49, "more than 50 levels deep"),
        (b"<g>" * 100_000 + b"</g>" * 100_000, "more than 50 levels deep"),
        (b"<g/>" * 20_000, "The SVG has far too many parts. Draw it more simply."),
        # Two lines that would be drawn a billion times.
        (repeated(10, 9), "The SVG has far too many parts. Draw it more simply."),
        (b'<g id="a"><use href="#a"/></g><use href="#a"/>', "The SVG has far too many parts."),
        (
            b'<g id="a">' + b"<g/>" * 200 + b"</g>" + b'<use href="#a"/>' * 100,
            "The SVG has far too many parts.",
        ),
    ],
)
def test_a_drawing_without_end_is_refused(inside, sentence):
    content = b'<svg xmlns="http://www.w3.org/2000/svg">' + inside + b"</svg>"

    with pytest.raises(BadValue, match=re.escape(sentence)):
        logo_files.cleaned(content)


def test_a_drawing_may_repeat_its_parts():
    inside = b'<g id="cell"><path d="M0 0"/></g>' + b'<use href="#cell"/>' * 50
    content = b'<svg xmlns="http://www.w3.org/2000/svg">' + inside + b"</svg>"

    assert logo_files.cleaned(content).count(b"<use") == 50


def test_the_drawing_programs_own_notes_are_left_out():
    content = (
        b'<?xml version="1.0"?><!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "svg11.dtd">'
        b'<svg xmlns="http://www.w3.org/2000/svg" xmlns:n="urn:notes" n:author="somebody">'
        b"<title>Bee</title><metadata><n:secret/></metadata>"
        b'<linearGradient id="a"/><rect width="1" height="1" fill="url(#a)"/></svg>'
    )

    kept = logo_files.cleaned(content)

    assert b"<rect" in kept
    assert not any(word in kept for word in (b"somebody", b"secret", b"Bee", b"DOCTYPE"))


def test_a_logo_is_put_on_and_taken_off_on_its_page(
    house, office, settings, django_capture_on_commit_callbacks
):
    address = reverse("billing:logo")

    nothing = office.post(address, {"key": "a"})
    bad = office.post(address, {"key": "b", "file": SimpleUploadedFile("x.png", b"no picture")})
    put = office.post(
        address, {"key": "c", "file": SimpleUploadedFile("x.png", picture())}, follow=True
    )
    shown = office.get(reverse("billing:logo_picture"))
    with django_capture_on_commit_callbacks(execute=True):
        office.post(address, {"key": "d", "is_removed": "on"})

    assert "Choose a picture." in nothing.content.decode()
    assert (nothing.status_code, bad.status_code) == (422, 422)
    assert "The logo is on every paper from now on." in put.content.decode()
    assert shown["Content-Type"] == "image/png"
    assert "sandbox" in shown["Content-Security-Policy"]
    assert not House.current().logo
    assert list(settings.FILES_DIR.iterdir()) == []
    assert office.get(reverse("billing:logo_picture")).status_code == 404


def test_papers_are_printed_without_a_logo_whose_file_is_gone(house, settings):
    upload(picture())
    for kept in settings.FILES_DIR.iterdir():
        kept.unlink()

    html = words_of(documents.render_html("documents/base.html", {}))

    assert "Hollow Oak Honey House" in html


# Through the API.


def test_the_api_returns_each_paper(shop, pounds, stand, office):
    order = order_of(shop, jars(pounds, 1, "6.00"), fill=False)
    invoice = invoice_of(shop, jars(pounds, 1, "6.00"))
    receipt, payment = sale_of(pounds, stand), pay(shop, 100)

    for name, value, wanted in (
        ("order-confirmation", order.number, "Order confirmation"),
        ("pro-forma", order.number, "Pro-forma"),
        ("invoice-paper", invoice.pk, f"Invoice {invoice}"),
        ("invoice-paper", receipt.pk, f"Receipt {receipt}"),
        ("payment-paper", payment.pk, "Receipt for a payment"),
        ("statement-paper", shop.pk, "Statement"),
    ):
        answer = office.get(reverse(f"api:{name}", args=[value]))
        assert answer["Content-Type"] == "application/pdf", name
        document = read(answer.content)
        assert wanted in f"{text_of(answer.content)} {document.metadata.title}", name


def test_the_api_prints_a_statement_as_it_was_known_then(shop, pounds, office):
    invoice = invoice_of(shop, jars(pounds, 1, "6.00"))
    address = reverse("api:statement-paper", args=[shop.pk])

    now = office.get(address)
    before = office.get(address, {"known_on": str(TODAY - days(1))})

    assert str(invoice) in text_of(now.content)
    assert str(invoice) not in text_of(before.content)


def test_the_api_prints_a_receipt_on_a_roll_and_refuses_what_is_no_paper(pounds, stand, office):
    receipt = sale_of(pounds, stand)
    address = reverse("api:invoice-paper", args=[receipt.pk])

    [page] = read(office.get(f"{address}?paper=58").content).pages
    refused = office.get(f"{address}?paper=70")

    assert round(float(page.mediabox.width) * MILLIMETRES_PER_POINT) == 58
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["field"] == "paper"


def test_the_api_has_no_paper_where_there_is_none(shop, pounds, stand, office):
    order = order_of(shop, jars(pounds, 1), fill=False)
    sold = sale_of(pounds, stand).order

    for name, number in (
        ("quote-paper", order.number),
        ("order-confirmation", sold.number),
        ("pro-forma", sold.number),
    ):
        assert office.get(reverse(f"api:{name}", args=[number])).status_code == 404
