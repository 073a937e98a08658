"""The lock date: what is late counts on the first open day, and a closed day keeps its answer."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.urls import reverse

from apiary_sales.billing.models import Entry, Invoice
from apiary_sales.billing.queries import as_of, books, closing
from apiary_sales.billing.queries.as_of import AsOf
from apiary_sales.billing.services import credit_notes, invoices
from apiary_sales.billing.services import stand as stand_sales
from inventory.shared.errors import BadValue
from inventory.shared.models import BooksLock
from inventory.shared.services import books_lock
from inventory.stock.models import Posting
from tests import builders
from tests.billing.conftest import TODAY, days, invoice_of, jars, order_of, pay

pytestmark = pytest.mark.django_db
YESTERDAY = TODAY - days(1)


@pytest.fixture
def close(owner):
    def make(until=YESTERDAY):
        return books_lock.close(until=until, locked_by=owner, key=builders.new_key())

    return make


def at(day):
    return time_machine.travel(datetime(day.year, day.month, day.day, 18, tzinfo=ZoneInfo("UTC")))


def test_a_payment_for_a_closed_day_keeps_its_day_and_counts_on_the_first_open_one(
    close, shop, pounds
):
    invoice_of(shop, jars(pounds, 10, "6.00"))
    close()

    payment = pay(shop, 2_000, received_on=TODAY - days(3))

    assert payment.received_on == TODAY - days(3)
    assert (payment.entry.happened_on, payment.entry.entered_on) == (TODAY - days(3), TODAY)
    assert [entry.payment for entry in closing.late_entries()] == [payment]
    assert list(books.faults()) == []


def test_a_sale_of_a_closed_day_at_the_stand_counts_today_and_prints_its_day(
    close, pounds, stand, owner, key
):
    close()

    sale = stand_sales.sell(
        lines=[jars(pounds, 1, "8.00")],
        place=stand,
        payments=builders.paid("card", None),
        sold_by=owner,
        key=key(),
        sold_at=datetime(2026, 9, 8, 15, tzinfo=ZoneInfo("America/Chicago")),
    )

    assert (sale.invoice.supplied_on, sale.invoice.issued_on) == (date(2026, 9, 8), TODAY)
    assert sale.invoice.entry.entered_on == TODAY
    posting = sale.fulfilment.posting
    assert posting.counts_on == TODAY
    assert list(closing.late_postings()) == [posting]


def test_without_a_lock_stock_counts_on_its_own_day(pounds, shop):
    with at(TODAY - days(2)):
        order_of(shop, jars(pounds, 1))

    assert Posting.objects.latest("id").counts_on is None


def test_no_bill_is_dated_into_closed_days(close, shop, pounds, owner, key):
    with at(TODAY - days(2)):
        order = order_of(shop, jars(pounds, 1))
    close()

    with pytest.raises(BadValue) as refused:
        invoices.issue(order=order, issued_by=owner, key=key(), issued_on=YESTERDAY)

    assert refused.value.parameter == "issued_on"
    assert not Invoice.objects.exists()


def test_a_credit_counts_when_it_is_issued(close, shop, pounds, owner, key):
    with at(TODAY - days(2)):
        invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    close()

    note = credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Late")

    assert note.entry.entered_on == TODAY
    before = as_of.receivables(AsOf(YESTERDAY))
    assert (before.owed_cents, before.aging.current) == (6_000, 6_000)
    assert as_of.receivables(AsOf(TODAY)).accounts == []


@pytest.mark.parametrize("day", [TODAY, TODAY + days(1)])
def test_today_stays_open(close, day):
    with pytest.raises(BadValue, match="today is always open"):
        close(day)


def test_days_are_closed_once(close):
    close()

    with pytest.raises(BadValue, match="closed up to Sep 9, 2026 already"):
        close(TODAY - days(5))


def test_opening_again_needs_a_reason_and_is_kept(close, owner, key):
    close()

    with pytest.raises(BadValue, match="Say why"):
        books_lock.open_again(until=None, locked_by=owner, key=key(), reason=" ")
    books_lock.open_again(until=TODAY - days(9), locked_by=owner, key=key(), reason="Wrong tax")

    assert BooksLock.objects.locked_until() == TODAY - days(9)
    assert [row.note for row in BooksLock.objects.all()] == ["Wrong tax", ""]
    assert pay(builders.customer("Inn"), 100, received_on=YESTERDAY).entry.entered_on == YESTERDAY


def test_books_that_were_never_closed_can_not_be_opened(owner, key):
    with pytest.raises(BadValue, match="open on every day"):
        books_lock.open_again(until=None, locked_by=owner, key=key(), reason="x")


@pytest.mark.usefixtures("without_triggers")
def test_an_entry_that_slipped_into_closed_days_is_a_fault(close, shop, pounds):
    close()
    with at(TODAY + days(1)):
        payment = pay(shop, 100)
    Entry._base_manager.filter(pk=payment.entry.pk).update(entered_on=YESTERDAY)

    assert (
        f"Entry {payment.entry.pk} counts on 2026-09-09, which was closed when it was made."
        in list(books.faults())
    )


@pytest.mark.usefixtures("without_triggers")
def test_a_number_out_of_the_order_of_days_is_a_fault(shop, pounds):
    first, second = invoice_of(shop, jars(pounds, 1)), invoice_of(shop, jars(pounds, 1))
    Invoice.objects.filter(pk=second.pk).update(issued_on=YESTERDAY)

    assert f"{second} is dated 2026-09-09, before {first} of 2026-09-10." in list(books.faults())


def test_what_was_owed_is_told_as_known_now_and_as_known_then(shop, pounds):
    with at(TODAY - days(5)):
        invoice_of(shop, jars(pounds, 10, "6.00"))
    with at(TODAY - days(2)):
        known_at = datetime.now(ZoneInfo("UTC"))
        then = as_of.receivables(AsOf(TODAY - days(2)))
    pay(shop, 2_500, received_on=TODAY - days(3))

    assert then.owed_cents == 6_000
    assert as_of.receivables(AsOf(TODAY - days(2), known_at)).owed_cents == 6_000
    now = as_of.receivables(AsOf(TODAY - days(2)))
    assert (now.owed_cents, now.aging.total, now.on_account_cents) == (3_500, 3_500, 0)
    assert as_of.receivables(AsOf(TODAY - days(4))).owed_cents == 6_000
    assert as_of.receivables(AsOf(TODAY - days(6))).accounts == []


# -------------------------------------------------------------------------------------- pages


def test_the_owner_closes_and_opens_days(client, owner):
    client.force_login(owner)

    page = client.post(
        reverse("billing:closing"),
        {"key": "l-1", "until": "2026-08-31", "note": "Filed"},
        follow=True,
    ).content.decode()
    assert "The books are closed up to Aug 31, 2026." in page
    page = client.post(
        reverse("billing:open_again"), {"key": "l-2", "until": "", "reason": "Oops"}, follow=True
    ).content.decode()
    assert "The books are open on every day." in page


@pytest.mark.parametrize("role", ["office", "stand", "bottling"])
def test_only_the_owner_closes_and_opens(client, role):
    client.force_login(builders.person(role))

    assert client.get(reverse("billing:closing")).status_code == 403
    assert client.get(reverse("billing:open_again")).status_code == 403


def test_the_page_shows_what_was_owed_on_a_day(client, shop, pounds):
    client.force_login(builders.person("office"))
    with at(TODAY - days(5)):
        invoice_of(shop, jars(pounds, 10, "6.00"))

    page = client.get(reverse("billing:owed_on"), {"day": str(TODAY - days(1))}).content.decode()
    none = client.get(reverse("billing:owed_on"), {"day": str(TODAY - days(9))}).content.decode()

    assert "Corner Grocery" in page
    assert "$60.00" in page
    assert "Nobody owed anything on that day." in none


def test_a_statement_is_told_as_known_now_and_as_known_then(client, shop, pounds):
    client.force_login(builders.person("office"))
    with at(TODAY - days(5)):
        invoice_of(shop, jars(pounds, 10, "6.00"))
    pay(shop, 2_500, received_on=TODAY - days(3))
    address, until = reverse("billing:statement", args=[shop.pk]), str(TODAY - days(2))

    now = client.get(address, {"until": until}).context["statement"]
    then = client.get(address, {"until": until, "known_on": until}).context["statement"]
    paper = client.get(
        reverse("billing:statement_pdf", args=[shop.pk]), {"until": until, "known_on": until}
    )

    assert (now.closing_cents, now.aging.total, now.on_account_cents) == (3_500, 3_500, 0)
    assert (then.closing_cents, then.aging.total, then.on_account_cents) == (6_000, 6_000, 0)
    assert paper["Content-Type"] == "application/pdf"
