"""The person in the office: an order handed over is invoiced, and paid in part."""

import pytest

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import books
from apiary_sales.customers.models import Customer, CustomerBalance
from inventory.shared.models import House
from inventory.stock.models import Place
from tests import builders
from tests.billing.conftest import jars, order_of
from tests.browser.conftest import DESKTOP, PHONE


@pytest.fixture
def order(transactional_db):
    """Ten one-pound jars at 6.00, handed over to the grocery."""
    House(name="Hollow Oak Honey House", payment_note="Check by mail.").save()
    shelf = builders.place("shelf", Place.Kind.SHELF, name="Packing shelf")
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, shelf, 48)
    return order_of(builders.customer("Corner Grocery"), jars(product, 10, "6.00"))


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE])
def test_an_order_is_invoiced_and_paid_in_part(sign_in, order, axe, viewport):
    page = sign_in("office", viewport)
    page.goto("/money/")
    axe(page)

    page.get_by_role("link", name="Invoice it").click()
    page.get_by_role("button", name="Issue the invoice for $60.00").wait_for()
    axe(page)
    page.get_by_role("button", name="Issue the invoice for $60.00").click()
    page.get_by_text("issued for $60.00.").wait_for()
    axe(page)

    page.get_by_role("link", name="Record a payment").click()
    page.get_by_label("Amount", exact=True).fill("25")
    page.get_by_label("check", exact=True).check()
    page.get_by_label("Check number or reference").fill("4410")
    axe(page)
    page.get_by_role("button", name="Record the payment").click()
    # $35.00 are left: the page asks what happens with them.
    page.locator("input[name=rest]").first.check()
    axe(page)
    page.get_by_role("button", name="Record the payment").click()
    page.get_by_text("$25.00 from Corner Grocery recorded.").wait_for()

    assert page.get_by_text("partly paid").is_visible()
    assert page.locator("dd", has_text="$35.00").is_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport[0]
    invoice = Invoice.objects.get()
    assert (invoice.total_cents, invoice.open_cents) == (6_000, 3_500)
    assert Payment.objects.get().reference == "4410"
    assert CustomerBalance.objects.get().owed_cents == 3_500
    assert list(books.faults()) == []


def test_the_invoice_opens_as_a_paper(sign_in, order):
    page = sign_in("office")
    page.goto(f"/money/invoices/new/{order.number}/")
    page.get_by_role("button", name="Issue the invoice").click()
    address = page.get_by_role("link", name="PDF").get_attribute("href")

    paper = page.context.request.get(address)

    assert paper.headers["content-type"] == "application/pdf"
    assert paper.body().startswith(b"%PDF-")


def test_too_much_asked_is_said_at_its_field(sign_in, order, axe):
    page = sign_in("office")
    page.goto(f"/money/payments/new/?customer={order.customer_id}")
    page.get_by_label("Amount").fill("0")
    page.get_by_role("button", name="Record the payment").click()

    summary = page.locator(".error-summary")
    summary.wait_for()
    assert "Amount: Enter an amount above zero." in summary.inner_text()
    assert page.evaluate("document.activeElement.className") == "error-summary"
    axe(page)
    assert not Payment.objects.exists()


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE])
def test_the_other_money_pages_have_no_barrier(sign_in, order, axe, viewport):
    page = sign_in("office", viewport)
    pages = [
        "/money/invoices/",
        "/money/payments/",
        "/money/payments/new/",
        f"/money/customers/{order.customer_id}/",
        f"/money/customers/{order.customer_id}/pay-back/",
        "/money/settings/",
        "/stand/receipts/",
    ]
    for address in pages:
        page.goto(address)
        axe(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= viewport[0], address


def test_a_customer_among_many_is_found_by_the_keyboard_alone(sign_in, transactional_db, axe):
    House(name="Hollow Oak Honey House").save()
    Customer.objects.bulk_create(Customer(name=f"Corner Shop {number}") for number in range(60))
    builders.customer("Heron Grocery")
    page = sign_in("office", PHONE)
    page.goto("/money/payments/new/")
    box = page.get_by_role("combobox", name="Who paid?")

    box.focus()
    page.keyboard.type("hero")
    page.get_by_role("option", name="Heron Grocery").wait_for()
    axe(page)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    assert box.input_value() == "Heron Grocery"
    assert not page.get_by_role("listbox").is_visible()
    page.keyboard.press("Enter")

    page.get_by_role("heading", name="Payment from Heron Grocery").wait_for()
