"""The office's pages: what is owed, invoices, payments, statements, and their papers."""

import re
import zlib
from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from apiary_sales.billing import papers
from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import books, money, statements
from apiary_sales.billing.rules import LineCredit
from apiary_sales.billing.services import credit_notes, invoices
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from inventory.shared import documents
from inventory.shared.models import House
from inventory.shared.money import cents_half_up
from inventory.stock.models import Place
from tests import builders
from tests.billing.conftest import (
    TODAY,
    days,
    errors_in,
    filled_in,
    invoice_of,
    jars,
    order_of,
    pay,
    queries_of,
    words_of,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("without_triggers")]


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


@pytest.fixture
def invoice(shop, pounds):
    """60.00, due on 10 October."""
    return invoice_of(shop, jars(pounds, 10, "6.00"), customer_reference="PO 88")


def due(invoice, days_ago):
    """Date an invoice so that it was due so many days ago."""
    Invoice.objects.filter(pk=invoice.pk).update(due_on=TODAY - days(days_ago))
    return invoice


@pytest.mark.parametrize(
    ("days_ago", "column"),
    [
        (-1, "current"),
        (0, "current"),
        (1, "to_30"),
        (30, "to_30"),
        (31, "to_60"),
        (60, "to_60"),
        (61, "to_90"),
        (90, "to_90"),
        (91, "over_90"),
    ],
)
def test_debts_are_put_in_columns_by_days_overdue(shop, pounds, days_ago, column):
    due(invoice_of(shop, jars(pounds, 1, "6.00")), days_ago)

    aging = money.owing(TODAY).aging

    assert getattr(aging, column) == 600
    assert aging.total == 600


def test_the_first_page_adds_up_what_is_owed(office, shop, pounds, house):
    other = builders.customer("Harvest Table")
    due(invoice_of(shop, jars(pounds, 10, "6.00")), 31)
    invoice_of(other, jars(pounds, 5, "6.00"))
    pay(shop, 2_000)
    pay(other, 3_500)  # 5.00 more than is due

    text = words_of(office.get("/money/").content.decode())

    # 60.00 − 20.00 are owed; of the 35.00 for 30.00, 5.00 are over and lessen nobody else's.
    assert "Owed to us $40.00 1 invoice to be paid $5.00 on customers' accounts" in text
    assert "Overdue $40.00 1 invoice" in text
    assert "Billed in September $90.00" in text
    assert "Received in September $55.00" in text
    assert "Harvest Table $5.00 −$5.00" in text


def test_orders_handed_over_wait_to_be_invoiced(office, shop, pounds):
    order = order_of(shop, jars(pounds, 10, "6.00"))
    order_of(shop, jars(pounds, 2, "6.00"), fill=False)

    [waiting] = money.orders_to_invoice()

    assert (waiting.number, waiting.to_invoice_cents) == (order.number, 6_000)
    page = office.get("/money/").content.decode()
    assert reverse("billing:invoice_create", args=[order.number]) in page
    invoices.issue(order=order, issued_by=builders.person(), key="k")
    assert list(money.orders_to_invoice()) == []


def test_pages_take_a_constant_number_of_queries(office, shop, pounds, invoice):
    pay(shop, 1_000)
    order_of(shop, jars(pounds, 1, "6.00"))
    pages = ["/money/", "/money/invoices/", "/money/payments/", f"/money/customers/{shop.pk}/"]
    few = [queries_of(office, page) for page in pages]

    for number in range(4):
        customer = builders.customer(f"Shop {number}")
        due(invoice_of(customer, jars(pounds, 3, "6.00")), 40)
        invoice_of(shop, jars(pounds, 2, "6.00"))
        order_of(customer, jars(pounds, 1, "6.00"))
        pay(customer, 500)

    assert [queries_of(office, page) for page in pages] == few


@pytest.mark.parametrize(
    ("state", "numbers"),
    [
        ("", ["C26-00001", "F26-00004", "F26-00003", "F26-00002", "F26-00001"]),
        ("open", ["F26-00002", "F26-00001"]),
        ("overdue", ["F26-00001"]),
        ("paid", ["F26-00003"]),
        ("credit", ["C26-00001"]),
        ("stand", []),
    ],
)
def test_invoices_are_found_by_state(office, shop, pounds, owner, key, state, numbers):
    made = [invoice_of(shop, jars(pounds, 1, "6.00")) for _number in range(4)]
    due(made[0], 1)
    pay(shop, 600, allocations={made[2]: 600})
    credit_notes.credit(invoice=made[3], issued_by=owner, key=key(), reason="Wrong goods")

    found = money.invoices(state=state, on=TODAY)

    assert [str(invoice) for invoice in found] == numbers


@pytest.mark.parametrize("text", ["corner", "F26-00001", "PO 88"])
def test_an_invoice_is_found_by_name_or_number(office, invoice, text):
    other = builders.customer("Harvest Table")

    page = office.get("/money/invoices/", {"text": text}).content.decode()

    assert "F26-00001" in page
    assert (
        "No invoices match" in office.get("/money/invoices/", {"text": other.name}).content.decode()
    )


def test_a_filter_that_makes_no_sense_shows_all(office, invoice):
    page = office.get("/money/invoices/?state=lost&since=never&page=x").content.decode()

    assert "F26-00001" in page


def test_no_number_is_broken_at_its_hyphen_in_the_list_of_invoices(office, invoice):
    page = office.get(reverse("billing:invoice_list")).text
    address = reverse("billing:invoice_detail", args=[invoice.pk])

    assert f'<th scope="row" class="nowrap"><a class="line-link" href="{address}">F26' in page
    assert f'<td class="nowrap line-off" data-label="Order">{invoice.order.number}</td>' in page


def test_an_order_is_invoiced_after_a_look(office, shop, pounds, honey_tax):
    order = order_of(shop, jars(pounds, 24, "6.10"))
    address = reverse("billing:invoice_create", args=[order.number])

    looked_at = words_of(office.get(address).content.decode())
    response = office.post(address, {"key": "i-1", "issued_on": "2026-09-10"}, follow=True)

    # 24 × 6.10 = 146.40 and 6.25 % of it, 9.15
    assert "Issue the invoice for $155.55" in looked_at
    assert "If you issue it today, it is due on Oct 10, 2026, in 30 days." in looked_at
    assert "Invoice F26-00001 issued for $155.55." in response.content.decode()
    assert Invoice.objects.get().total_cents == 15_555


def test_the_look_before_issuing_writes_nothing(office, shop, pounds):
    order = order_of(shop, jars(pounds, 24))

    office.get(reverse("billing:invoice_create", args=[order.number]))

    assert not Invoice.objects.exists()
    assert list(books.faults()) == []


def test_an_order_is_not_invoiced_twice(office, shop, pounds):
    order = order_of(shop, jars(pounds, 24))
    address = reverse("billing:invoice_create", args=[order.number])
    office.post(address, {"key": "i-1", "issued_on": "2026-09-10"})

    again = office.post(address, {"key": "i-1", "issued_on": "2026-09-10"}, follow=True)
    other = office.post(address, {"key": "i-2", "issued_on": "2026-09-10"})

    assert "This was recorded already." in again.content.decode()
    assert other.status_code == 422
    assert errors_in(other) == [
        f"Everything handed over for order {order.number} is already invoiced: F26-00001."
    ]
    assert Invoice.objects.count() == 1


def test_a_total_that_changed_since_it_was_shown_is_refused_in_words(office, shop, pounds):
    order = order_of(shop, jars(pounds, 24))
    address = reverse("billing:invoice_create", args=[order.number])

    response = office.post(address, {"key": "i-1", "expected_total_cents": "14399"})

    assert response.status_code == 422
    assert errors_in(response) == [
        "The figures have changed: it comes to $144.00 now, and $143.99 was shown. Look at the new "
        "figures, and try again."
    ]
    assert not Invoice.objects.exists()
    assert 'name="expected_total_cents" value="14400"' in response.content.decode()


@pytest.fixture
def payment_form(invoice):
    return {
        "key": "p-1",
        "amount": "25.00",
        "method": "check",
        "reference": "4410",
        "received_on": "2026-09-10",
        "allocations": "chosen",
        f"take_{invoice.pk}": "on",
        "rest": "leave",
    }


def test_a_part_payment_is_recorded_on_its_invoice(office, shop, invoice, payment_form):
    address = reverse("billing:payment_create") + f"?invoice={invoice.pk}"

    response = office.post(address, payment_form, follow=True)

    text = words_of(response.content.decode())
    assert "$25.00 from Corner Grocery recorded." in text
    assert "Paid $25.00 Left to pay $35.00" in text
    assert "partly paid" in text
    assert CustomerBalance.objects.get(customer=shop).owed_cents == 3_500


def test_an_invoice_credited_in_part_is_not_called_paid_until_money_came(office, shop, invoice):
    address = reverse("billing:invoice_detail", args=[invoice.pk])
    credit_notes.credit(
        invoice=invoice,
        issued_by=builders.person(),
        key="c-1",
        reason="Lids leak",
        lines=[LineCredit(invoice.lines.get(), quantity=Decimal(2))],
    )
    credited = words_of(office.get(address).content.decode())
    listed = words_of(office.get(reverse("billing:invoice_list")).content.decode())
    pay(shop, 1_000)
    paid = words_of(office.get(address).content.decode())

    assert "partly credited" in credited
    assert "partly credited" in listed
    assert "partly paid" not in credited
    assert "partly paid" in paid


def test_what_is_over_is_named_and_does_not_lessen_what_others_owe(
    office, invoice, payment_form, pounds
):
    other = builders.customer("Harvest Table")
    invoice_of(other, jars(pounds, 5, "6.00"))

    paid = office.post(
        reverse("billing:payment_create") + f"?invoice={invoice.pk}",
        payment_form | {"amount": "100.00"},
        follow=True,
    )

    text = words_of(paid.content.decode())
    assert "$100.00 from Corner Grocery recorded. Of this, $40.00 stays on account." in text
    page = words_of(office.get(reverse("billing:money")).content.decode())
    assert "Owed to us $30.00 1 invoice to be paid $40.00 on customers' accounts" in page


def test_a_paid_invoice_says_so_before_more_is_recorded(office, shop, invoice):
    address = reverse("billing:payment_create") + f"?invoice={invoice.pk}"
    sentence = "Invoice F26-00001 is fully paid."
    assert sentence not in office.get(address).text

    pay(shop, invoice.total_cents)

    assert sentence in office.get(address).text


@pytest.mark.parametrize(
    ("typed", "sentences"),
    [
        ({"amount": "0"}, ["Amount: Enter an amount above zero."]),
        ({"amount": "-5"}, ["Amount: Enter an amount above zero."]),
        (
            {"amount": "1000000.01"},
            ["Amount: $1,000,000.01 is too much for one payment. Check the figure."],
        ),
        (
            {"amount": "ten"},
            ["Amount: “ten” is not a number. Write it in digits, as in 12.5."],
        ),
        (
            {"amount": "1.005"},
            ["Amount: Enter at most 2 decimals."],
        ),
        (
            {"received_on": "2026-09-11"},
            ["Received: A payment can't be dated in the future. Choose today or an earlier day."],
        ),
        (
            {"received_on": "2025-09-08"},
            ["Received: Sep 8, 2025 is more than a year ago. Check the date."],
        ),
        (
            {"method": "barter"},
            ["Paid by: Choose one from the list."],
        ),
        (
            {"allocations": "999"},
            ["Used for: Choose one from the list."],
        ),
    ],
)
def test_a_wrong_payment_is_refused_in_words(office, shop, invoice, payment_form, typed, sentences):
    address = reverse("billing:payment_create") + f"?customer={shop.pk}"

    response = office.post(address, {**payment_form, **typed})

    assert response.status_code == 422
    assert errors_in(response) == sentences
    assert not Payment.objects.exists()


def test_the_same_payment_form_twice_records_one(office, shop, invoice, payment_form):
    address = reverse("billing:payment_create") + f"?customer={shop.pk}"
    office.post(address, payment_form)

    response = office.post(address, payment_form, follow=True)

    assert "This was recorded already." in response.content.decode()
    assert Payment.objects.count() == 1


@pytest.mark.parametrize(
    "asked", ["customer=x", "invoice=-1", "customer=999", "invoice=" + "9" * 30]
)
def test_a_payment_from_nobody_is_not_found(office, asked):
    assert office.get(f"/money/payments/new/?{asked}").status_code == 404


def test_who_paid_is_asked_first(office, shop, invoice):
    page = office.get("/money/payments/new/").content.decode()

    assert f"?customer={shop.pk}" in page


def test_a_bounced_check_is_undone_from_its_page(office, shop, invoice):
    payment = pay(shop, 6_000)
    address = reverse("billing:payment_undo", args=[payment.pk])

    response = office.post(address, {"key": "u-1", "reason": "Check bounced"}, follow=True)
    again = office.post(address, {"key": "u-2", "reason": "Check bounced"})

    text = response.content.decode()
    assert "The payment of $60.00 is undone. The amount it paid is owed again." in text
    assert again.status_code == 422
    assert errors_in(again) == ["This payment was undone already."]
    invoice.refresh_from_db()
    assert invoice.open_cents == 6_000


def test_money_on_account_is_used_from_the_invoice(office, shop, pounds):
    pay(shop, 2_000)
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    page = words_of(
        office.get(reverse("billing:invoice_detail", args=[invoice.pk])).content.decode()
    )

    response = office.post(reverse("billing:use_on_account", args=[invoice.pk]), follow=True)

    assert "Corner Grocery has $20.00 on account." in page
    assert (
        "$20.00 of the money on account was used for invoice F26-00001."
        in response.content.decode()
    )
    again = office.post(reverse("billing:use_on_account", args=[invoice.pk]), follow=True)
    assert "Corner Grocery has no money on account." in again.content.decode()


def test_what_is_wrong_with_money_given_back_is_told_at_its_field(office, shop):
    pay(shop, 2_000)
    form = {"key": "b-1", "amount": "30", "method": "check", "received_on": "2026-09-11"}

    response = office.post(reverse("billing:pay_back", args=[shop.pk]), form)

    assert list(response.context["form"].errors) == ["received_on", "amount"]


def test_money_on_account_is_given_back(office, shop, pounds):
    pay(shop, 2_000)
    statement = office.get(f"/money/customers/{shop.pk}/").content.decode()
    address = reverse("billing:pay_back", args=[shop.pk])
    form = {"key": "b-1", "amount": "20.01", "method": "check", "received_on": "2026-09-10"}

    too_much = office.post(address, form)
    response = office.post(address, {**form, "amount": "20"}, follow=True)

    assert address in statement
    assert too_much.status_code == 422
    assert errors_in(too_much) == [
        "Amount: Corner Grocery has $20.00 on account, so $20.01 can't be given back. "
        "Enter a smaller amount."
    ]
    assert "$20.00 given back to Corner Grocery." in response.content.decode()
    assert CustomerBalance.objects.get(customer=shop).owed_cents == 0
    assert "Money given back, check" in office.get(f"/money/customers/{shop.pk}/").content.decode()

    back = Payment.objects.get(amount_cents=-2_000)
    undone = office.post(
        reverse("billing:payment_undo", args=[back.pk]),
        {"key": "b-2", "reason": "Sent to nobody"},
        follow=True,
    )
    assert "The $20.00 that was given back is on account again." in undone.content.decode()
    assert CustomerBalance.objects.get(customer=shop).owed_cents == -2_000


def test_an_invoice_is_credited_from_its_page(office, shop, invoice):
    pay(shop, 1_000)
    address = reverse("billing:invoice_credit", args=[invoice.pk])
    looked_at = words_of(office.get(address).content.decode())
    form = {**filled_in(office.get(address)), "key": "c-1", "reason": "Lids leak"}

    response = office.post(address, form, follow=True)
    again = office.get(address)

    assert "$10.00 is paid on this invoice." in looked_at
    assert "Issue a credit note for $60.00" in looked_at
    assert (
        "Credit note C26-00001 for $60.00 is issued. The goods stay with the buyer."
        in response.content.decode()
    )
    assert "This invoice is credited in full already." in again.content.decode()
    assert CustomerBalance.objects.get(customer=shop).owed_cents == -1_000


def test_a_statement_runs_from_what_was_owed_to_what_is_owed(shop, pounds, invoice):
    pay(shop, 2_500, received_on=TODAY)

    found = statements.statement(shop, TODAY, TODAY)
    before = statements.statement(shop, TODAY - days(40), TODAY - days(1))
    after = statements.statement(shop, TODAY + days(1), TODAY + days(30))

    assert [(str(line.text), line.balance_cents) for line in found.lines] == [
        (f"Invoice F26-00001, order {invoice.order.number}", 6_000),
        ("Payment, check", 3_500),
    ]
    assert (found.opening_cents, found.charged_cents, found.paid_cents) == (0, 6_000, 2_500)
    assert (before.lines, before.closing_cents) == ([], 0)
    assert (after.opening_cents, after.closing_cents) == (3_500, 3_500)


def test_a_statement_page_and_paper_open(office, shop, invoice):
    page = office.get(f"/money/customers/{shop.pk}/?since=2026-09-01&until=2026-09-30")
    paper = office.get(f"/money/customers/{shop.pk}/pdf/")

    assert "Invoice F26-00001" in page.content.decode()
    assert paper.content.startswith(b"%PDF-")


def test_the_account_of_a_customer_is_a_part_of_their_page(office, shop, invoice):
    address = reverse("billing:customer_account", args=[shop.pk])

    part = office.get(address, headers={"HX-Request": "true"})
    alone = office.get(address)

    assert "Owes $60.00" in words_of(part.content.decode())
    assert "<html" not in part.content.decode()
    assert alone.url == reverse("billing:statement", args=[shop.pk])


@pytest.mark.parametrize(
    "address",
    [
        "/money/",
        "/money/invoices/",
        "/money/payments/",
        "/money/payments/new/",
        "/money/settings/",
    ],
)
@pytest.mark.parametrize("role", ["stand", "bottling"])
def test_money_is_for_the_office(client, house, address, role):
    client.force_login(builders.person(role))

    assert client.get(address).status_code == 403


def test_an_address_of_nothing_is_not_found(office):
    for name in ("invoice_detail", "invoice_pdf", "invoice_credit", "payment_detail", "statement"):
        assert office.get(reverse(f"billing:{name}", args=[999])).status_code == 404
    assert office.get("/money/invoices/new/26-9999/").status_code == 404


def test_the_details_of_the_house_are_changed_for_papers_to_come(office, house, invoice):
    form = {
        "name": "Hollow Oak Apiary",
        "street": "1 New Road",
        "paper": "A4",
        "receipt_paper": "80",
        "tax_rounding": "invoice",
        "origin_rule": "none",
        "quote_days": "21",
        "drum_deposit_cents": "25.00",
        "drum_price_cents": "40",
        "drum_tolerance_percent": "1",
        "market": "eu",
    }

    response = office.post("/money/settings/", form, follow=True)

    assert "Saved. Papers show it from now on." in response.content.decode()
    changed = House.current()
    assert (changed.name, changed.paper, changed.quote_days) == ("Hollow Oak Apiary", "A4", 21)
    assert (changed.drum_deposit_cents, changed.drum_price_cents) == (2_500, 4_000)
    assert changed.market == House.Market.EU
    invoice.refresh_from_db()
    assert invoice.seller["name"] == "Hollow Oak Honey House"


def test_a_house_without_a_name_is_refused(office, house):
    response = office.post(
        "/money/settings/",
        {
            "name": "",
            "paper": "letter",
            "receipt_paper": "page",
            "tax_rounding": "line",
            "origin_rule": "none",
            "quote_days": "-1",
            "drum_deposit_cents": "-1",
            "drum_price_cents": "0",
            "drum_tolerance_percent": "1",
            "market": "us",
        },
    )

    assert response.status_code == 422
    assert errors_in(response) == [
        "Name: Fill this in.",
        "A quote is valid for, days: Enter 0 or more.",
        "Deposit on a drum: Enter 0 or more.",
    ]
    assert House.current().name == "Hollow Oak Honey House"


def unpacked(pdf):
    """Return the objects of a PDF, out of its compressed streams."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    return b"\n".join(zlib.decompress(stream) for stream in streams)


def paper_of(invoice):
    context = papers.invoice_context(invoice)
    return words_of(documents.render_html(papers.invoice_template(invoice), context))


def test_a_paper_of_a_comma_house_is_written_with_commas(shop, pounds, comma_house):
    text = paper_of(invoice_of(shop, jars(pounds, 90, "15.125")))

    # 90 × 15.125 = 1,361.25
    assert "90 pc $15,125" in text
    assert "Total $1.361,25" in text


def test_the_paper_says_what_a_bookkeeper_looks_for(shop, pounds, honey_tax):
    invoice = invoice_of(shop, jars(pounds, 24, "6.10"), customer_reference="PO 88")
    pay(shop, 5_555)

    text = paper_of(invoice)

    for wanted in [
        "Hollow Oak Honey House 418 Ridge Road Millbrook, IA 50001",
        "Tax number 00-0000042",
        "Number F26-00001",
        "Date Sep 10, 2026",
        "Due Oct 10, 2026",
        "Terms 30 days net",
        "Bill to Corner Grocery 2 Main Street Millbrook, IA 50001",
        f"Order {invoice.order.number} Your reference PO 88",
        "One pound P26-001 24 pc $6.10 6.25 % $146.40",
        "State sales tax 6.25 % $146.40 $9.15",
        "Subtotal $146.40",
        "Sales tax $9.15",
        "Total $155.55",
        "Paid Sep 10, 2026, check − $55.55",
        "Balance due $100.00",
        "Check to Hollow Oak Honey House, or transfer to account 000 111.",
        "Please pay $100.00 by Oct 10, 2026 and mention invoice F26-00001.",
        "Do not feed honey to infants under one year of age.",
    ]:
        assert wanted in text, wanted


def test_the_paper_of_an_exempt_customer_names_the_certificate(shop, pounds, honey_tax):
    builders.certificate(shop, "IA-7781")

    text = paper_of(invoice_of(shop, jars(pounds, 10, "6.00")))

    assert "Exempt from sales tax, certificate IA-7781" in text
    assert "Sales tax $0.00" in text


def test_the_paper_of_drums_gives_net_pounds_and_how_to_lift_them(shop):
    # 651 lb × 453.59237 g = 295 288.63 g; 651.00 lb × 2.85 = 1 855.35
    drum = builders.place("7", Place.Kind.DRUM, name="Drum 7")
    lot = builders.lot_in(drum, 295_289)
    line = LineWanted(
        kind=OrderLine.Kind.HONEY, quantity=295_289, unit_price=Decimal("2.85"), drum=drum, lot=lot
    )

    text = paper_of(invoice_of(shop, line))

    assert f"net weight, 295 kg {lot.code} 651.00 lb $2.85 a lb – $1,855.35" in text
    assert "move it with a drum truck or a hoist, never alone" in text


def test_the_paper_of_a_credit_note_points_at_its_invoice(invoice, owner, key):
    note = credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Lids leak")

    text = paper_of(note)

    for wanted in [
        "Credit note Number C26-00001",
        "For invoice F26-00001",
        "Why Lids leak",
        "One pound P26-001 −10 pc $6.00 – −$60.00",
        "Credited −$60.00",
    ]:
        assert wanted in text, wanted
    assert "This invoice is credited in full." in paper_of(invoice)


def test_a_paper_is_the_same_bytes_each_time(office, invoice):
    address = reverse("billing:invoice_pdf", args=[invoice.pk])

    first, second = office.get(address), office.get(address)

    assert first["Content-Type"] == "application/pdf"
    assert first["Content-Disposition"] == 'inline; filename="Invoice F26-00001.pdf"'
    assert first.content.startswith(b"%PDF-")
    assert first.content == second.content


@pytest.mark.parametrize(
    ("grams", "price", "shown", "cents"),
    [
        # 648.5 lb = 294 154.65 g, kept as 294 155; 648.50 × 2.85 = 1 848.225, half up
        (294_155, "2.85", "648.50", 184_823),
        # 294 154 g are 648.4986 lb: × 2.85 = 1 848.2209; 648.50 would make 1 848.23
        (294_154, "2.85", "648.499", 184_822),
    ],
)
def test_printed_pounds_multiply_out_to_the_amount(shop, grams, price, shown, cents):
    drum = builders.place("7", Place.Kind.DRUM, name="Drum 7")
    lot = builders.lot_in(drum, grams)
    wanted = LineWanted(
        kind=OrderLine.Kind.HONEY, quantity=grams, unit_price=Decimal(price), drum=drum, lot=lot
    )

    [line] = invoice_of(shop, wanted).lines.all()

    assert (line.shown_quantity, line.amount_cents) == (shown, cents)
    assert cents_half_up(Decimal(shown) * Decimal(price)) == cents


def test_a_long_invoice_goes_on_with_its_name_on_each_page(shop, pounds):
    invoice = invoice_of(shop, *[jars(pounds, 1, "6.00") for _line in range(60)])

    html = documents.render_html("documents/invoice.html", papers.invoice_context(invoice))
    pages = len(re.findall(rb"/Type ?/Page(?!s)", unpacked(papers.invoice(invoice))))

    assert 'data-paper="Invoice F26-00001"' in html
    assert html.count("One pound") == 60
    assert pages > 1


def test_typed_markup_is_printed_and_not_obeyed(shop, pounds):
    shop.street = '<img src="file:///etc/passwd">'
    shop.save()
    invoice = invoice_of(shop, jars(pounds, 1))

    html = documents.render_html("documents/invoice.html", papers.invoice_context(invoice))

    assert "&lt;img src=" in html
    assert "<img" not in html


def test_the_age_of_debts_on_a_given_day(shop, pounds):
    # Due on 10 October: on 9 November 30 days, on 10 November 31.
    invoice_of(shop, jars(pounds, 1, "6.00"))

    assert money.account_of(shop, date(2026, 11, 9)).aging.to_30 == 600
    assert money.account_of(shop, date(2026, 11, 10)).aging.to_60 == 600
    assert Invoice.objects.open_of(shop).count() == 1
