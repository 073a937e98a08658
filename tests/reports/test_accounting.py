"""The reports for the accountant, through pages, downloads and the API."""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal

import pytest
from openpyxl import load_workbook

from apiary_sales.billing.models import Adjustment, Invoice
from apiary_sales.billing.services import adjustments, closing, opening
from apiary_sales.reports.frames import sales
from apiary_sales.reports.frames.sales import SalesFilters
from tests import builders
from tests.reports import conftest as made
from tests.reports.test_pages import Table, cents

pytestmark = pytest.mark.django_db
BOOKS = ("journal", "trial-balance", "invoices", "payments", "tax-by-document")


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


def of_account(office, title, heading="Closing", query=""):
    table = Table(office.get(f"/reports/trial-balance/{query}").text)
    row = next(row for row in table.rows if row[0] == title)
    return cents(row[table.rows[0].index(heading)])


def test_the_trial_balance_is_the_reports(office, billed):
    """Jars: 34 of 100 that cost 300.00 are sold, 102.00; the drum had cost 590.00.

    The shop was billed 354.00 and 5 % tax, and paid 100.00: it owes 271.70.
    """
    assert of_account(office, "5000 Cost of sales") == 10_200 + 59_000
    sold = sales.lines(SalesFilters(goods=sales.ALL))
    assert of_account(office, "5000 Cost of sales") == int(sold["cost_cents"].sum())
    assert of_account(office, "1220 Stock: jars") == 19_800
    assert of_account(office, "2100 Sales tax") == -1_770
    assert of_account(office, "1100 Owed by customers") == 35_400 + 1_770 - 10_000

    table = Table(office.get("/reports/trial-balance/").text)
    assert cents(table.column("Closing")[-1]) == 0
    assert table.column("Debit")[-1] == table.column("Credit")[-1] != "$0.00"


def test_an_account_of_the_trial_balance_opens_its_lines_and_they_open_their_documents(
    office, billed
):
    table = Table(office.get("/reports/trial-balance/?since=2026-11-01").text)
    at = next(at for at, row in enumerate(table.rows) if row[0] == "4000 Sales")

    lines = Table(office.get(table.urls[at][0]).text)

    assert lines.column("Credit") == ["$354.00", "$354.00"]
    assert office.get(lines.urls[1][0]).status_code == 200
    assert lines.urls[1][0].startswith("/money/invoices/")


def test_invoices_payments_and_tax_have_the_totals_of_the_trial_balance(office, billed):
    def total(slug, heading):
        return cents(Table(office.get(f"/reports/{slug}/").text).column(heading)[-1])

    assert total("invoices", "Total") == 37_170
    assert total("invoices", "Net") == -of_account(office, "4000 Sales") == 35_400
    assert total("invoices", "Tax") == total("tax-by-document", "Tax") == 1_770
    assert total("tax-by-document", "Taxable") == 35_400
    debit = of_account(office, "1010 Checks not in the bank yet", "Debit")
    assert total("payments", "Amount") == debit == 10_000


def test_an_opening_invoice_is_listed_apart_from_the_net_of_these_books(office, billed):
    opening.owe(
        customer=Invoice.objects.get().customer,
        number="1187",
        amount_cents=12_500,
        issued_on=date(2026, 5, 20),
        due_on=date(2026, 6, 19),
        begins_on=date(2026, 7, 1),
        recorded_by=builders.person(),
        key="o-1",
    )

    table = Table(office.get("/reports/invoices/").text)

    assert cents(table.column("Net")[-1]) == -of_account(office, "4000 Sales") == 35_400
    assert cents(table.column("Tax")[-1]) == -of_account(office, "2100 Sales tax") == 1_770
    assert cents(table.column("From the books before")[-1]) == 12_500
    owed = of_account(office, "1100 Owed by customers") + 10_000  # paid already
    assert cents(table.column("Total")[-1]) == owed == 37_170 + 12_500
    assert "1187" in table.column("Number")


def test_a_write_off_that_lowers_the_tax_is_in_the_list_of_taxes(office, billed):
    """Of 354.00 and 17.70 of tax, 21.00 is written off: 20.00 and 1.00 of tax."""
    adjustments.adjust(
        invoice=Invoice.objects.get(),
        kind=Adjustment.Kind.WRITE_OFF,
        cents=2_100,
        reason="Short",
        lowers_tax=True,
        made_by=builders.person(),
        key="w-1",
    )

    table = Table(office.get("/reports/tax-by-document/").text)
    assert cents(table.column("Tax")[-1]) == 1_770 - 100 == -of_account(office, "2100 Sales tax")
    assert cents(table.column("Taxable")[-1]) == 35_400 - 2_000


@pytest.mark.parametrize("slug", BOOKS)
def test_each_list_is_downloaded_as_csv_and_xlsx_with_its_total(office, billed, slug):
    text = office.get(f"/reports/{slug}.csv").getvalue().decode("utf-8-sig")
    book = load_workbook(io.BytesIO(office.get(f"/reports/{slug}.xlsx").content)).active
    api = office.get(f"/api/v1/reports/{slug}.csv")

    rows = list(csv.reader(io.StringIO(text)))
    heading = next(at for at, name in enumerate(rows[0]) if "USD" in name)
    assert rows[-1][0] == "Total"
    figures = [Decimal(row[heading] or 0) for row in rows[1:]]
    assert sum(figures[:-1]) == figures[-1]
    assert [cell.value for cell in book[1]] == rows[0]
    assert Decimal(str(book.cell(book.max_row, heading + 1).value)) == figures[-1]
    assert api.getvalue().decode("utf-8-sig") == text


def test_stock_without_a_cost_is_counted_apart_and_said(office, billed):
    page = office.get("/reports/trial-balance/").text

    # Fifty jars nobody knows the cost of came in, and twelve of them were sold.
    assert "2 entries of stock have no cost yet and count as zero." in page


def test_a_closed_day_and_what_was_known_are_asked_for_on_the_page(office, house):
    owner = builders.person()
    closing.close(until=made.TODAY - timedelta(days=1), locked_by=owner, key="c-1")
    before = Table(office.get("/reports/stock-value/?on=2026-11-19").text).column("Value")
    house.unknown.refresh_from_db()
    house.unknown.cost_cents = 50_000
    house.unknown.save()

    assert Table(office.get("/reports/stock-value/?on=2026-11-19").text).column("Value") == before
    # 61 jars at 3.00: the five that came back did so today.
    assert before == ["$183.00", "cost not entered", "$183.00"]
    # 38 of 50 jars at 10.00 each.
    today = Table(office.get("/reports/stock-value/?on=2026-11-20").text).column("Value")
    assert today == ["$380.00", "$198.00", "$578.00"]
    journal = office.get("/reports/journal/?since=2026-11-20").text
    assert "Costs set anew since the books were closed" in journal
    known = office.get("/reports/stock-value/?on=2026-11-20&known_on=2026-11-19").text
    assert "There was no stock with these filters." in known
    assert "as it was known at the end of Nov 19, 2026" in known


@pytest.mark.parametrize("slug", BOOKS)
def test_a_filter_that_makes_no_sense_is_told_at_its_field(office, house, slug):
    page = office.get(f"/reports/{slug}/?known_on=soon&since=2026-02-01&until=2026-01-01")

    assert page.status_code == 422
    assert "Enter the day as year, month, day: 2026-09-30." in page.text


def test_the_owner_names_an_account_on_its_page(client, house):
    client.force_login(builders.person())

    page = client.post("/money/accounts/sales/", {"number": "8400", "name": "Honey"}, follow=True)
    assert "The account is 8400 Honey now." in page.text
    refused = client.post("/money/accounts/sales/", {"number": "1000", "name": "Honey"})
    assert refused.status_code == 422
    assert "1000 Cash has this number already. Choose another." in refused.text
    assert client.get("/money/accounts/flowers/").status_code == 404


def test_the_office_sees_the_chart_and_only_the_owner_changes_it(office, house):
    page = office.get("/money/accounts/")

    assert "1220" in page.text
    assert "/money/accounts/sales/" not in page.text
    assert office.get("/money/accounts/sales/").status_code == 403


def test_accounts_are_read_and_named_through_the_api(client, house):
    client.force_login(builders.person())

    def send(key, **body):
        return client.post(
            f"/api/v1/accounts/{key}/",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": builders.new_key()},
        )

    assert {"key": "sales", "number": "4000", "name": "Sales", "kind": "income"} in client.get(
        "/api/v1/accounts/"
    ).json()
    made_account = send("sales", number="8400", name="Honey")
    assert made_account.json() == {
        "key": "sales",
        "number": "8400",
        "name": "Honey",
        "kind": "income",
    }
    refused = send("stock:honey", number="8400", name="Bulk")
    assert [error["field"] for error in refused.json()["errors"]] == ["number"]
    assert send("flowers", number="1", name="No").status_code == 404
    client.force_login(builders.person("office"))
    assert send("sales", number="1", name="No").status_code == 403


def test_books_are_closed_and_opened_through_the_api(client, house):
    client.force_login(builders.person())

    def send(path, key, **body):
        return client.post(
            f"/api/v1/books/{path}/",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": key},
        )

    closed = send("close", "k-1", until="2026-10-31")
    assert (closed.status_code, closed.json()["locked_until"]) == (201, "2026-10-31")
    assert send("close", "k-1", until="2026-10-31").content == closed.content
    refused = send("close", "k-2", until="2026-11-20")
    assert [error["field"] for error in refused.json()["errors"]] == ["until"]
    opened = send("open-again", "k-3", reason="Wrong day")
    assert (opened.status_code, opened.json()["locked_until"]) == (201, None)
    client.force_login(builders.person("office"))
    assert send("close", "k-4", until="2026-10-31").status_code == 403
