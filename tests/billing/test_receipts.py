"""A receipt as a page and as a paper: what it says, how long its roll is, and its QR code."""

import io
import re

import pytest
from django.urls import reverse
from pypdf import PdfReader

from apiary_sales.accounts.services import people
from apiary_sales.billing import papers
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.billing.services.stand import PaymentMade
from apiary_sales.mailing.models import Email
from tests import builders
from tests.billing.conftest import words_of
from tests.billing.receipt_room import HOST, SITE, cash, sale_of
from tests.inventory import printed

pytestmark = pytest.mark.django_db

# Dots of a receipt printer: 8 a millimetre.
DPI = 203
DOTS_PER_MM = DPI / 25.4


@pytest.fixture(autouse=True)
def _house_with_a_name(settings):
    settings.ALLOWED_HOSTS = ["honey.example", "localhost", "testserver"]
    settings.HTTPS = True


@pytest.fixture
def seller(client):
    client.force_login(builders.person("stand"))
    return client


def page_of(client, sale, **more):
    return client.get(reverse("billing:receipt", args=[sale.receipt_id]), **(HOST | more))


def text_of(sale, paper="80"):
    pages = PdfReader(io.BytesIO(papers.receipt(sale.receipt, paper))).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_a_receipt_says_when_where_and_by_whom_it_was_sold(pounds, stand, seller):
    person = people.add(username="mira", name="Mira Oak", password="mira-oak-9", role="stand")
    sale = sale_of(pounds, stand, sold_by=person)

    page = words_of(page_of(seller, sale).content.decode())

    said = "Date Sep 10, 2026 Time 12:00 p.m. Place Stand Sold by Mira Oak"
    assert said in page
    for paper in ("page", "80", "58"):
        text = text_of(sale, paper)
        for each in ("12:00 p.m.", "Stand", "Mira Oak", "Sep 10, 2026"):
            assert each in text


def test_a_receipt_adds_up_with_cash_card_and_what_was_given_on_top(pounds, stand, seller):
    # 16.00: 10.00 in cash out of 20.00, and 7.00 by card with 1.00 on top.
    sale = sale_of(
        pounds, stand, cash(1_000, 2_000), PaymentMade("card", 700), pieces=2, on_top_cents=100
    )

    told = "Total $16.00 Cash given $20.00 Paid by card $7.00 Of it given on top $1.00"
    change = "Change given $10.00"
    assert f"{told} {change}" in words_of(page_of(seller, sale).content.decode())
    assert told in text_of(sale)
    assert change in text_of(sale)


def test_a_receipt_names_the_check_and_the_discount(pounds, stand):
    check = PaymentMade("check", reference="1042")
    sale = sale_of(pounds, stand, check, discount_cents=50)

    text = text_of(sale)

    assert "less discount $0.50" in text
    assert "Discounts, taken off already $0.50 Total $7.50" in text
    assert "Paid by check No. 1042 $7.50" in text
    assert "Change given" not in text


@pytest.mark.parametrize("paper", ["page", "80"])
def test_a_discount_stands_above_the_sum_that_it_is_taken_off_of(pounds, stand, honey_tax, paper):
    # 8.00 less 0.50 are 7.50; 6.25 % of that are 0.47 (0.46875).
    sale = sale_of(pounds, stand, PaymentMade("card"), discount_cents=50)

    said = "Discounts, taken off already $0.50 Goods $7.50 State sales tax 6.25 % $0.47 Total $7.97"
    assert said in text_of(sale, paper)


def test_a_receipt_that_was_paid_short_says_what_is_not_paid(pounds, stand):
    sale = sale_of(pounds, stand, cash(500, 500), has_happened=True)

    assert "Total $8.00 Cash given $5.00 Not paid $3.00" in text_of(sale)


def test_a_receipt_that_was_replaced_names_the_other_one(pounds, stand):
    first = sale_of(pounds, stand)
    second = sale_of(pounds, stand, pieces=2, corrects=first)
    first.receipt.refresh_from_db()

    assert (
        f"Cancelled on Sep 10, 2026 by credit note C26-00001. Receipt {second} takes its place."
    ) in text_of(first)


def test_a_receipt_warns_of_infants(pounds, stand, seller):
    caution = "Do not feed honey to infants under one year of age."
    sale = sale_of(pounds, stand)

    assert caution in page_of(seller, sale).content.decode()
    for paper in ("page", "80", "58"):
        assert caution in text_of(sale, paper)


@pytest.mark.parametrize(("paper", "width_mm", "printed_mm"), [("58", 58, 48), ("80", 80, 72)])
@pytest.mark.parametrize("lines", [1, 20, 60])
def test_a_roll_is_one_piece_with_nothing_cut_off_and_no_paper_wasted(
    shelf, stand, lines, paper, width_mm, printed_mm
):
    product = builders.product("One pound jar of light clover honey", code="jar")
    builders.packed_lot(product, stand, 96, code="P26-009")
    sale = sale_of(product, stand, cash(given=60_000), lines=lines)

    pdf = papers.receipt(sale.receipt, paper)

    assert printed.pages(pdf) == 1
    text = " ".join(printed.text(pdf).split())
    assert text.count("lot P26-009") == lines
    assert text.endswith("Scan to read this receipt later.")
    image = printed.picture(pdf, dpi=DPI)
    assert image.width == pytest.approx(width_mm * DOTS_PER_MM, abs=1)
    left, top, right, bottom = printed.ink(image)
    side = (width_mm - printed_mm) / 2 * DOTS_PER_MM
    assert left >= side - 1
    assert right <= image.width - side + 1
    # Paper is left for the knife, and no more.
    assert top <= 5 * DOTS_PER_MM
    assert 5 * DOTS_PER_MM <= image.height - bottom <= 11 * DOTS_PER_MM


def test_a_roll_is_printed_in_black_alone(pounds, stand):
    [page] = PdfReader(io.BytesIO(papers.receipt(sale_of(pounds, stand).receipt, "58"))).pages

    drawn = page.get_contents().get_data().decode("latin-1")
    colours = re.findall(r"((?:[\d.]+ )+)(?:rg|RG|g|G|k|K|scn|SCN)\b", drawn)

    assert colours
    assert {float(part) for colour in colours for part in colour.split()} == {0.0}


@pytest.mark.parametrize("paper", ["58", "80", "page"])
def test_the_code_on_a_receipt_leads_to_the_page_of_that_receipt(pounds, stand, seller, paper):
    sale = sale_of(pounds, stand)
    address = reverse("billing:receipt_pdf", args=[sale.receipt_id])

    pdf = seller.get(f"{address}?paper={paper}", **HOST).content

    address = f"{SITE}/r/{sale.read_code}/"
    assert printed.codes(printed.picture(pdf, dpi=DPI)) == [("QRCode", address)]


def test_the_page_shows_the_same_code_and_shares_the_same_address(pounds, stand, seller):
    sale = sale_of(pounds, stand)
    address = f"{SITE}/r/{sale.read_code}/"

    answer = page_of(seller, sale)

    page = answer.content.decode()
    assert answer.context["read_url"] == address
    assert str(answer.context["code"].svg) in page
    button = re.search(r"<button[^>]*data-share[^>]*>", page).group()
    assert " hidden " in button
    assert f'data-url="{address}"' in button
    assert f'data-text="Receipt {sale} from Hollow Oak Honey House"' in button
    assert '/billing/share.js" type="module"' in page


@pytest.mark.parametrize(("role", "is_told"), [("owner", True), ("stand", False)])
def test_without_a_public_address_there_is_no_code_and_the_owner_is_told_why(
    pounds, stand, client, settings, role, is_told
):
    settings.ALLOWED_HOSTS = ["localhost"]
    client.force_login(builders.person(role))
    sale = sale_of(pounds, stand)

    page = page_of(client, sale, headers={"host": "localhost"}).content.decode()

    assert "data-share" not in page
    assert "Show the QR code" not in page
    why = "No QR code is printed on receipts, because localhost leads to this network alone."
    assert (why in page) is is_told
    assert "Scan to read" not in text_of(sale)
    assert printed.codes(printed.picture(papers.receipt(sale.receipt, "80"))) == []


def test_a_receipt_is_sent_to_the_address_that_the_buyer_gives(pounds, stand, seller, settings):
    settings.EMAIL_FROM = "office@hollowoak.example"
    sale = sale_of(pounds, stand)
    url = reverse("mailing:send", args=["receipt", sale.receipt_id])
    assert url in page_of(seller, sale).content.decode()
    page = seller.get(url)

    seller.post(
        url,
        {
            "to": "buyer@meadow.example",
            "subject": page.context["form"]["subject"].value(),
            "body": page.context["form"]["body"].value(),
            "key": "mail-1",
        },
    )

    assert "It is used for this receipt only" in page.content.decode()
    sent = Email.objects.get()
    assert (sent.to, sent.subject) == (
        "buyer@meadow.example",
        f"Receipt {sale} from Hollow Oak Honey House",
    )
    [paper] = sent.papers.all()
    image = printed.picture(bytes(paper.copy.content), dpi=DPI)
    assert printed.codes(image) == [("QRCode", f"{SITE}/r/{sale.read_code}/")]


def test_a_sale_that_was_undone_says_so_on_its_page(pounds, stand, seller, owner, key):
    sale = sale_of(pounds, stand)
    stand_sales.take_back(receipt=sale.receipt, taken_by=owner, key=key(), reason="Jar leaked")

    page = words_of(page_of(seller, sale).content.decode())

    assert "Undone on Sep 10, 2026 by credit note C26-00001: Jar leaked" in page
    assert "Undo this sale" not in page


def test_the_stand_sends_receipts_it_may_see_in_the_words_of_the_house(
    pounds, stand, shelf, seller, owner, settings
):
    settings.EMAIL_FROM = "office@hollowoak.example"
    sale = sale_of(pounds, stand)
    url = reverse("mailing:send", args=["receipt", sale.receipt_id])
    other = {"to": "a@meadow.example", "subject": "Won", "body": "Pay here", "key": "mail-1"}
    by_program = {"paper": "receipt", "thing": sale.receipt_id, **other}
    by_program.pop("key")

    def ask(**body):
        return seller.post(
            "/api/v1/emails/",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": "mail-2"},
        )

    refused = ask(**by_program)
    seller.post(url, other)

    assert [error["field"] for error in refused.json()["errors"]] == ["subject", "body"]
    [sent] = Email.objects.all()
    assert sent.subject == f"Receipt {sale} from Hollow Oak Honey House"
    assert "Pay here" not in sent.body
    assert seller.get(reverse("mailing:email", args=[sent.pk])).status_code == 200
    # Sold by somebody else where they have no business.
    elsewhere = sale_of(pounds, shelf, sold_by=owner).receipt_id
    assert seller.get(reverse("mailing:send", args=["receipt", elsewhere])).status_code == 404
    assert ask(paper="receipt", thing=elsewhere, to="a@meadow.example").status_code == 400
    assert Email.objects.count() == 1
