"""The tax return of a period: taxes apart, reasons, credits in their period, and its check."""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal

import openpyxl
import pytest
import time_machine
from django.db.models import QuerySet
from django.urls import reverse

from apiary_sales.billing.models import Entry, EntryLine, InvoiceLineTax
from apiary_sales.billing.queries import tax_return
from apiary_sales.billing.queries.books import faults
from apiary_sales.billing.rules import LineCredit
from apiary_sales.billing.services import adjustments, credit_notes, invoices
from apiary_sales.pricing.models import TaxRate
from apiary_sales.pricing.services import prices, taxes
from inventory.shared.models import BooksLock, House
from tests import builders
from tests.billing.conftest import TODAY, invoice_of, jars, order_of, words_of

YEAR = date(2026, 1, 1)
DAY = timedelta(days=1)


@pytest.fixture
def taxed(house):
    """State 6 % and county 1.5 % on honey; no rate on freight."""
    prices.set_tax_rate(
        name="State", jurisdiction="Iowa", goods="honey", percent=Decimal(6), valid_from=YEAR
    )
    prices.set_tax_rate(
        name="County",
        jurisdiction="Linn County",
        goods="honey",
        percent=Decimal("1.5"),
        valid_from=YEAR,
    )


@pytest.fixture
def office(client, db):
    client.force_login(builders.person("office"))
    return client


def credit(invoice, *lines, **more):
    return credit_notes.credit(
        invoice=invoice,
        lines=lines or None,
        issued_by=builders.person(),
        key=builders.new_key(),
        reason="Came back",
        **more,
    )


def of_september(jurisdiction=""):
    return tax_return.of_period(date(2026, 9, 1), date(2026, 9, 30), jurisdiction)


def test_taxes_are_kept_apart_on_each_line(shop, pounds, taxed):
    # 60.00 at 6 % is 3.60, at 1.5 % 0.90.
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    rows = InvoiceLineTax.objects.filter(line__invoice=invoice)
    assert list(rows.values_list("name", "jurisdiction", "base_cents", "tax_cents")) == [
        ("State", "Iowa", 6_000, 360),
        ("County", "Linn County", 6_000, 90),
    ]
    assert (invoice.tax_cents, invoice.total_cents) == (450, 6_450)
    assert invoice.lines.get().tax_category == "S"
    assert list(faults()) == []


def test_the_return_says_what_was_sold_and_why_it_bore_no_tax(shop, pounds, taxed):
    invoice_of(shop, jars(pounds, 10, "6.00"))
    builders.certificate(shop, "IA-1", jurisdiction="Iowa")
    invoice_of(shop, jars(pounds, 5, "6.00"))
    taxes.set_category(goods="honey", category="E", reason="food at home", valid_from=TODAY)
    invoice_of(builders.customer("Mill"), jars(pounds, 2, "6.00"))
    taxes.set_category(goods="honey", category="Z", valid_from=TODAY)
    invoice_of(builders.customer("Inn"), jars(pounds, 1, "6.00"))
    taxes.set_category(goods="honey", category="O", reason="gift", valid_from=TODAY)
    invoice_of(builders.customer("School"), jars(pounds, 3, "6.00"))

    found = of_september()

    assert [(row.category, row.reason, row.net_cents) for row in found.sales] == [
        ("S", "", 6_000),
        ("E", "food at home", 1_200),
        ("E", "resale", 3_000),
        ("Z", "", 600),
        ("O", "gift", 1_800),
    ]
    assert (found.gross_cents, found.taxable_cents, found.tax_cents) == (12_600, 6_000, 450)
    assert (found.all_tax_cents, found.book_cents, found.difference_cents) == (450, 450, 0)


def test_each_jurisdiction_has_its_own_tax_and_what_others_tax_is_told(shop, pounds, taxed):
    invoice_of(shop, jars(pounds, 10, "6.00"))
    prices.set_tax_rate(name="County", goods="honey", percent=Decimal(0), valid_from=TODAY)
    invoice_of(shop, jars(pounds, 5, "6.00"))

    state, county = of_september("Iowa"), of_september("Linn County")

    assert [(row.category, row.net_cents) for row in state.sales] == [("S", 9_000)]
    # 90.00 at 6 % is 5.40.
    assert [(row.name, row.base_cents, row.tax_cents) for row in state.taxes] == [
        ("State", 9_000, 540)
    ]
    assert [(row.category, row.net_cents) for row in county.sales] == [
        ("S", 6_000),
        ("elsewhere", 3_000),
    ]
    assert county.tax_cents == 90
    assert (county.gross_cents, county.all_tax_cents, county.difference_cents) == (9_000, 630, 0)
    assert tax_return.jurisdictions() == ["Iowa", "Linn County"]


def test_a_credit_counts_in_the_period_in_which_it_is_issued(shop, pounds, taxed):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    with time_machine.travel("2026-10-02T12:00:00-05:00", tick=False):
        credit(invoice)
        october = tax_return.of_period(date(2026, 10, 1), date(2026, 10, 31))
        september = of_september()

    assert (september.taxable_cents, september.tax_cents) == (6_000, 450)
    assert (october.taxable_cents, october.tax_cents, october.difference_cents) == (
        -6_000,
        -450,
        0,
    )
    [row] = october.sales
    assert (row.sales_cents, row.credits_cents) == (0, -6_000)
    assert [(row.charged_cents, row.credited_cents) for row in october.taxes] == [
        (0, -360 if row.name == "State" else -90) for row in october.taxes
    ]


def test_a_discount_that_lowers_the_tax_lowers_the_return_until_it_is_undone(shop, pounds, taxed):
    # 60.00 with 3.60 and 0.90 of tax is 64.50; a tenth off is 6.45, of it 0.36 and 0.09 tax.
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    given = adjustments.adjust(
        invoice=invoice,
        kind="discount",
        cents=645,
        made_by=builders.person(),
        key=builders.new_key(),
        lowers_tax=True,
    )

    found = of_september()

    assert [(row.name, row.base_cents, row.tax_cents) for row in found.taxes] == [
        ("State", 5400, 324),
        ("County", 5400, 81),
    ]
    assert (found.tax_cents, found.book_cents, found.difference_cents) == (405, 405, 0)
    assert [(row.name, row.tax_cents) for row in of_september("Iowa").taxes] == [("State", 324)]
    behind = tax_return.documents(date(2026, 9, 1), date(2026, 9, 30), name="State")
    assert [(row.amount_cents, row.tax_cents) for row in behind] == [(6000, 360), (-600, -36)]

    adjustments.undo(
        adjustment=given, undone_by=builders.person(), key=builders.new_key(), reason="Too late"
    )
    assert (of_september().tax_cents, of_september().book_cents) == (450, 450)


@pytest.mark.usefixtures("without_triggers")
def test_opening_documents_are_no_sales_of_the_period(shop, pounds, taxed):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    QuerySet(Entry).filter(pk=invoice.entry.pk).update(kind="opening")

    assert of_september().sales == []


@pytest.mark.usefixtures("without_triggers")
def test_a_return_that_the_book_of_money_contradicts_says_so(office, shop, pounds, taxed):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    tax = QuerySet(EntryLine).filter(entry=invoice.entry, account="sales_tax")
    tax.update(amount_cents=-449)

    found = of_september()
    page = office.get(reverse("billing:tax_return")).text

    assert found.difference_cents == 1
    assert "The documents say $4.50 of tax" in words_of(page)


def test_the_rate_and_the_certificate_of_the_hand_over_count(shop, pounds, house):
    prices.set_tax_rate(name="State", goods="honey", percent=Decimal(6), valid_from=YEAR)
    prices.set_tax_rate(name="State", goods="honey", percent=Decimal(7), valid_from=TODAY + DAY)
    order = order_of(shop, jars(pounds, 10, "6.00"))

    with time_machine.travel("2026-09-20T12:00:00-05:00", tick=False):
        builders.certificate(shop, "late", valid_from=TODAY + DAY)
        invoice = invoices.issue(order=order, issued_by=builders.person(), key=builders.new_key())

    # 60.00 at 6 % of the day of the hand-over; the certificate began the day after.
    assert (invoice.supplied_on, invoice.tax_cents, invoice.exemption) == (TODAY, 360, "")


# ---- prices that include tax


@pytest.fixture
def inclusive(house):
    House.objects.update(prices_include_tax=True)
    TaxRate.objects.create(
        name="VAT", jurisdiction="Country", goods="honey", percent=20, valid_from=YEAR
    )


def test_the_buyer_pays_the_price_and_an_odd_cent_is_rounding(shop, pounds, inclusive):
    # 9.99 ÷ 6 = 1.665 → 1.67; 8.33 × 20 % = 1.666 → 1.67; together 10.00.
    invoice = invoice_of(shop, jars(pounds, 1, "9.99"))

    assert invoice.prices_include_tax
    assert (invoice.net_cents, invoice.tax_cents) == (833, 167)
    assert (invoice.rounding_cents, invoice.total_cents) == (-1, 999)
    line = invoice.lines.get()
    assert (line.amount_cents, line.tax_cents, line.shown_cents) == (833, 167, 999)
    accounts = {row.account: row.amount_cents for row in invoice.entry.lines.all()}
    assert accounts == {"receivable": 999, "sales": -833, "sales_tax": -167, "rounding": 1}
    assert list(faults()) == []
    assert of_september().difference_cents == 0


def test_a_price_with_tax_is_credited_part_by_part_to_the_last_cent(shop, pounds, inclusive):
    # 3 × 9.99 = 29.97; ÷ 6 = 4.995 → 5.00; 24.98 × 20 % = 4.996 → 5.00, a cent is rounding.
    invoice = invoice_of(shop, jars(pounds, 3, "9.99"))
    assert (invoice.net_cents, invoice.tax_cents, invoice.rounding_cents) == (2_498, 500, -1)
    line = invoice.lines.get()

    first = credit(invoice, LineCredit(line, quantity=Decimal(1)))
    second = credit(invoice, LineCredit(line, quantity=Decimal(1)))
    last = credit(invoice)

    assert [note.total_cents for note in (first, second, last)] == [-999, -999, -999]
    notes = [first, second, last]
    assert sum(note.tax_cents for note in notes) == -500
    assert sum(note.net_cents for note in notes) == -2_498
    assert sum(note.rounding_cents for note in notes) == 1
    invoice.refresh_from_db()
    assert invoice.open_cents == 0
    assert list(faults()) == []


def test_papers_and_pages_say_that_prices_include_the_tax(office, shop, pounds, inclusive):
    invoice = invoice_of(shop, jars(pounds, 1, "9.99"))

    page = office.get(reverse("billing:invoice_detail", args=[invoice.pk])).text

    assert "Prices include the tax." in page
    assert "$9.99" in page
    assert page.count("Rounding") == 1


# ---- pages and files


def test_the_page_shows_the_return_with_its_check_and_opens_the_documents(
    office, shop, pounds, taxed
):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    builders.certificate(shop, "IA-1")
    free = invoice_of(shop, jars(pounds, 5, "6.00"))

    page = office.get(reverse("billing:tax_return"), {"since": "2026-09-01"}).text
    assert "Checked: the account of sales tax" in page
    assert "have a licensed" in page
    asked = {"since": "2026-09-01", "category": "E", "reason": "resale"}
    exempt = office.get(reverse("billing:tax_documents"), asked).text
    asked = {"since": "2026-09-01", "name": "State", "jurisdiction": "Iowa", "percent": "6"}
    state = office.get(reverse("billing:tax_documents"), asked).text

    assert str(free) in exempt
    assert str(invoice) not in exempt
    assert str(invoice) in state
    assert "$3.60" in state


def test_the_files_have_the_same_figures(office, shop, pounds, taxed):
    invoice_of(shop, jars(pounds, 10, "6.00"))
    days = {"since": "2026-09-01", "until": "2026-09-30", "jurisdiction": "Iowa"}

    table = office.get(reverse("billing:tax_return_csv"), days).content.decode("utf-8-sig")
    book = office.get(reverse("billing:tax_return_xlsx"), days).content
    paper = office.get(reverse("billing:tax_return_pdf"), days)

    rows = list(csv.reader(io.StringIO(table)))
    assert rows[1] == ["all sales", "", "", "", "", "60.00", ""]
    assert ["State", "Iowa", "6", "60.00", "0.00", "60.00", "3.60"] in rows
    sheet = openpyxl.load_workbook(io.BytesIO(book)).worksheets[0]
    cells = [[cell.value for cell in row] for row in sheet.iter_rows()]
    assert ["State", "Iowa", 6, 60, 0, 60, 3.6] in cells
    assert paper["Content-Type"] == "application/pdf"


def test_exempt_sales_name_their_certificate_and_what_has_no_scan(office, shop, pounds, taxed):
    builders.certificate(shop, "IA-1", jurisdiction="Iowa", expires=TODAY)
    invoice = invoice_of(shop, jars(pounds, 5, "6.00"))

    [sale] = tax_return.exempt_sales(YEAR, TODAY)
    page = " ".join(office.get(reverse("billing:exempt_sales")).text.split())
    table = office.get(reverse("billing:exempt_sales_csv")).content.decode("utf-8-sig")

    assert (sale.invoice, sale.reason, sale.amount_cents) == (invoice, "resale", 3_000)
    assert (sale.certificate.number, sale.scans) == ("IA-1", 0)
    assert "1 sale has a certificate without a scan." in page
    row = list(csv.reader(io.StringIO(table)))[1]
    assert row[2:] == [
        *("Corner Grocery", "resale", "IA-1", "Iowa", TODAY.isoformat(), "0", "30.00"),
    ]


@pytest.mark.parametrize("days", [1, 20])
def test_a_return_takes_the_same_queries_for_many(
    shop, pounds, taxed, days, django_assert_num_queries
):
    for _number in range(days):
        invoice_of(shop, jars(pounds, 1, "6.00"))

    with django_assert_num_queries(6):
        of_september()


def test_who_may_not_see_money_sees_no_return(client, db):
    client.force_login(builders.person("bottling"))

    for name in ("tax_return", "tax_return_csv", "exempt_sales", "tax_documents"):
        assert client.get(reverse(f"billing:{name}")).status_code == 403


def test_what_a_closed_month_had_stays_and_what_is_late_counts_on_the_first_open_day(
    shop, pounds, taxed
):
    BooksLock.objects.create(
        locked_until=TODAY - DAY, locked_by=builders.person(), idempotency_key="lock"
    )
    invoice_of(shop, jars(pounds, 10, "6.00"))

    before = tax_return.of_period(YEAR, TODAY - DAY)
    assert (before.gross_cents, of_september().taxable_cents) == (0, 6_000)
