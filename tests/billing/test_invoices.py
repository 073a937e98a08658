"""Invoices from goods handed over: numbers, tax, terms, credit notes."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
import time_machine
from django.db import transaction

from apiary_sales.billing.models import Entry, EntryLine, Invoice
from apiary_sales.billing.queries import books, money
from apiary_sales.billing.services import credit_notes, invoices, payments
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import orders
from apiary_sales.pricing.models import TaxRate
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow
from inventory.stock.models import Balance, Place
from tests import builders
from tests.billing.conftest import TODAY, days, invoice_of, jars, order_of, pay

pytestmark = pytest.mark.django_db


def owed(customer):
    balance = CustomerBalance.objects.filter(customer=customer).first()
    return balance.owed_cents if balance else 0


def test_an_invoice_adds_up_its_rounded_lines(shop, pounds, quarts, honey_tax, owner, key):
    # 24 × 6.10 = 146.40; 6.25 % of it is 9.15
    #  6 × 17.35 = 104.10; 6.25 % of it is 6.50625, half up at the third decimal 6.51
    order = order_of(shop, jars(pounds, 24, "6.10"), jars(quarts, 6, "17.35"))

    invoice = invoices.issue(order=order, issued_by=owner, key=key())

    rows = [
        (line.description, line.quantity, line.unit, line.amount_cents, line.tax_cents)
        for line in invoice.lines.all()
    ]
    assert rows == [
        ("One pound", 24, "piece", 14_640, 915),
        ("Three pound", 6, "piece", 10_410, 651),
    ]
    assert (invoice.net_cents, invoice.tax_cents) == (25_050, 1_566)
    assert invoice.total_cents == invoice.open_cents == 26_616
    assert owed(shop) == 26_616
    assert list(books.faults()) == []


def test_tax_rounded_once_an_invoice_is_shared_out_over_the_lines(
    house, shop, pounds, quarts, honey_tax
):
    # 6.25 % of 1.00 is 6.25 cents: twice rounded by itself 6 + 6 = 12, together 12.5, so 13.
    house.tax_rounding = "invoice"
    house.save()

    invoice = invoice_of(shop, jars(pounds, 1, "1.00"), jars(quarts, 1, "1.00"))

    assert sorted(line.tax_cents for line in invoice.lines.all()) == [6, 7]
    assert invoice.total_cents == 213


def test_freight_and_deposits_are_taxed_at_their_own_rates(shop, pounds, honey_tax):
    for name, goods, percent in [("Freight tax", "freight", "2"), ("Goods tax", "other", "7")]:
        TaxRate.objects.create(
            name=name, goods=goods, percent=Decimal(percent), valid_from=date(2026, 1, 1)
        )
    charge = {"quantity": 1, "product": None}
    lines = [
        jars(pounds, 10, "6.00"),  # 60.00 at 6.25 % = 3.75
        LineWanted(kind=OrderLine.Kind.FREIGHT, unit_price=Decimal("15.50"), **charge),  # 0.31
        LineWanted(kind=OrderLine.Kind.DRUM_SALE, unit_price=Decimal("20.00"), **charge),  # 1.40
    ]

    invoice = invoice_of(shop, *lines)

    assert [line.tax_cents for line in invoice.lines.all()] == [375, 31, 140]
    assert invoice.total_cents == 6_000 + 1_550 + 2_000 + 375 + 31 + 140


def test_an_exempt_customer_pays_no_tax_and_the_certificate_is_named(shop, pounds, honey_tax):
    certificate = builders.certificate(shop, "IA-7781", jurisdiction="Iowa")

    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    assert (invoice.tax_cents, invoice.total_cents) == (0, 6_000)
    assert invoice.exemption == "Exempt from sales tax, certificate IA-7781, Iowa, resale"
    [line] = invoice.lines.all()
    assert (line.tax_category, line.exemption_reason) == ("E", "resale")
    assert line.certificate == certificate


@pytest.mark.parametrize(
    ("expires", "tax_cents"), [(TODAY - days(1), 375), (TODAY, 0), (TODAY + days(1), 0)]
)
def test_a_certificate_frees_from_tax_to_its_last_day(shop, pounds, honey_tax, expires, tax_cents):
    builders.certificate(shop, "IA-7781", expires=expires)

    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    assert invoice.tax_cents == tax_cents
    assert bool(invoice.exemption) == (tax_cents == 0)


def test_a_discount_is_shown_between_price_and_amount(shop, pounds):
    # 12 × 6.00 = 72.00 less 5.00 = 67.00
    invoice = invoice_of(shop, jars(pounds, 12, "6.00", discount_cents=500))

    [line] = invoice.lines.all()
    assert (line.quantity, line.unit_price) == (12, Decimal("6.0000"))
    assert (line.discount_cents, line.amount_cents) == (500, 6_700)


def test_bulk_honey_is_billed_by_the_pound(shop, owner, key):
    # 651 lb × 453.59237 g = 295 288.63 g, kept as 295 289 g; 651.00 lb × 2.85 = 1 855.35
    drum = builders.place("7", Place.Kind.DRUM, name="Drum 7")
    lot = builders.lot_in(drum, 295_289)
    line = LineWanted(
        kind=OrderLine.Kind.HONEY, quantity=295_289, unit_price=Decimal("2.85"), drum=drum, lot=lot
    )

    invoice = invoice_of(shop, line)

    [line] = invoice.lines.all()
    assert (line.quantity, line.unit, line.lot_code) == (Decimal("651.000"), "lb", lot.code)
    assert line.amount_cents == 185_535


def test_numbers_of_a_series_follow_without_a_gap(shop, pounds, owner, key):
    first = invoice_of(shop, jars(pounds, 1))
    order = order_of(shop, jars(pounds, 1))
    with transaction.atomic():
        invoices.issue(order=order, issued_by=owner, key=key())
        # The power goes before the sale is kept.
        transaction.set_rollback(True)

    second = invoices.issue(order=order, issued_by=owner, key=key())

    assert [str(first), str(second)] == ["F26-00001", "F26-00002"]
    assert list(books.faults()) == []


def test_each_year_has_its_own_series(shop, pounds, owner, key):
    invoice_of(shop, jars(pounds, 1))

    with time_machine.travel(datetime(2027, 1, 2, 12, tzinfo=UTC)):
        new_year = invoice_of(shop, jars(pounds, 1))

    assert str(new_year) == "F27-00001"
    assert list(books.faults()) == []


def test_terms_set_the_day_it_is_due(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 1))

    assert invoice.issued_on == TODAY
    assert invoice.due_on == date(2026, 10, 10)  # 10 September and 30 days
    assert list(money.overdue_invoices(date(2026, 10, 10))) == []
    assert list(money.overdue_invoices(date(2026, 10, 11))) == [invoice]


def test_addresses_stay_as_they_were_on_the_day(house, shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 1), customer_reference="PO 88")
    house.name, shop.street = "New name", "New street"
    house.save()
    shop.save()

    invoice.refresh_from_db()

    assert invoice.seller["name"] == "Hollow Oak Honey House"
    assert invoice.seller["tax_number"] == "00-0000042"
    assert invoice.buyer["street"] == "2 Main Street"
    assert invoice.buyer["reference"] == "PO 88"


def test_only_what_was_handed_over_is_billed_and_only_once(shop, pounds, owner, key):
    order = order_of(shop, jars(pounds, 10, "6.00"), fill=False)
    [line] = order.lines.all()
    orders.fulfil(order=order, quantities={line.pk: 4}, filled_by=owner, key=key())
    first = invoices.issue(order=order, issued_by=owner, key=key())
    orders.fulfil(order=order, filled_by=owner, key=key())
    second = invoices.issue(order=order, issued_by=owner, key=key())

    with pytest.raises(NotAllowedNow) as refused:
        invoices.issue(order=order, issued_by=owner, key=key())

    assert (first.net_cents, second.net_cents) == (2_400, 3_600)
    assert refused.value.message == (
        f"Everything handed over for order {order.number} is already invoiced: "
        "F26-00001, F26-00002."
    )
    assert Invoice.objects.count() == 2


def test_an_order_not_filled_yet_is_not_invoiced(shop, pounds, owner, key):
    order = order_of(shop, jars(pounds, 10), fill=False)

    with pytest.raises(NotAllowedNow) as refused:
        invoices.issue(order=order, issued_by=owner, key=key())

    assert refused.value.message == (
        f"No goods of order {order.number} have been handed over yet, so it can't be invoiced. "
        "Hand over the goods first."
    )
    assert not Invoice.objects.exists()


def test_the_same_form_twice_makes_one_invoice(shop, pounds, owner, key):
    order, once = order_of(shop, jars(pounds, 10)), key()
    first = invoices.issue(order=order, issued_by=owner, key=once)

    with pytest.raises(AlreadyRecorded) as refused:
        invoices.issue(order=order, issued_by=owner, key=once)

    assert refused.value.made == first
    assert Invoice.objects.count() == 1


@pytest.mark.parametrize(
    ("day", "sentence"),
    [
        (
            TODAY + days(1),
            "An invoice can't be dated in the future. Choose today or earlier.",
        ),
        (
            TODAY - days(1),
            "The goods were handed over on Sep 10, 2026; the invoice can't be older than that.",
        ),
    ],
)
def test_an_invoice_is_dated_between_the_goods_and_today(shop, pounds, owner, key, day, sentence):
    order = order_of(shop, jars(pounds, 10))

    with pytest.raises(BadValue) as refused:
        invoices.issue(order=order, issued_by=owner, key=key(), issued_on=day)

    assert (refused.value.parameter, refused.value.message) == ("issued_on", sentence)
    assert not Entry.objects.exists()


def test_numbers_follow_the_days(shop, pounds, owner, key):
    with time_machine.travel(TODAY - days(2)):
        early, late = order_of(shop, jars(pounds, 10)), order_of(shop, jars(pounds, 10))
    invoices.issue(order=late, issued_by=owner, key=key(), issued_on=TODAY - days(1))

    with pytest.raises(BadValue) as refused:
        invoices.issue(order=early, issued_by=owner, key=key(), issued_on=TODAY - days(2))

    assert (refused.value.parameter, refused.value.message) == (
        "issued_on",
        "The last one, F26-00001, is dated Sep 9, 2026, and numbers must follow the dates. "
        "Choose that day or a later one.",
    )
    second = invoices.issue(order=early, issued_by=owner, key=key(), issued_on=TODAY - days(1))
    assert str(second) == "F26-00002"


def test_a_credit_note_takes_back_the_bill_and_the_goods_that_came_back(
    shop, pounds, honey_tax, owner, key
):
    invoice = invoice_of(shop, jars(pounds, 24, "6.10"))
    before = Balance.objects.get(place__code="shelf", item=pounds.item).quantity

    goods = invoice.lines.get().fulfilment_line
    shelf = Place.objects.get(code="shelf")

    note = credit_notes.credit(
        invoice=invoice,
        issued_by=owner,
        key=key(),
        reason="Lids leak",
        goods_back=[GoodsBack(goods, 24, shelf)],
    )

    invoice.refresh_from_db()
    assert str(note) == "C26-00001"
    assert (note.net_cents, note.tax_cents, note.total_cents) == (-14_640, -915, -15_555)
    [line] = note.lines.all()
    assert (line.quantity, line.amount_cents, line.tax_cents) == (-24, -14_640, -915)
    assert note.credits == invoice
    assert (invoice.open_cents, owed(shop)) == (0, 0)
    after = Balance.objects.get(place__code="shelf", item=pounds.item).quantity
    assert (before, after) == (72, 96)
    assert list(books.faults()) == []


def test_what_was_paid_on_a_credited_invoice_stays_on_account(shop, pounds, owner, key):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    pay(shop, 2_000)

    credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Wrong goods")

    assert owed(shop) == -2_000
    assert [payment.left_cents for payment in payments.money_left(shop)] == [2_000]
    assert list(books.faults()) == []


def test_an_invoice_is_credited_once(shop, pounds, owner, key):
    invoice = invoice_of(shop, jars(pounds, 10))
    note = credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Wrong goods")

    with pytest.raises(NotAllowedNow) as again:
        credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Wrong goods")
    with pytest.raises(NotAllowedNow) as back:
        credit_notes.credit(invoice=note, issued_by=owner, key=key(), reason="Wrong goods")

    assert again.value.message == "Invoice F26-00001 is credited in full already."
    assert back.value.message == "A credit note can't be credited. Issue an invoice instead."
    assert Invoice.objects.count() == 2


def test_a_credit_note_says_why(shop, pounds, owner, key):
    invoice = invoice_of(shop, jars(pounds, 10))

    with pytest.raises(BadValue) as refused:
        credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="  ")

    assert refused.value.parameter == "reason"
    assert refused.value.message == "Say why it is credited; it is printed on the credit note."
    assert Invoice.objects.count() == 1


def test_credited_goods_can_be_sent_again_and_billed_again(shop, pounds, owner, key):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    credit_notes.credit(
        invoice=invoice, issued_by=owner, key=key(), reason="Lost", sends_again=True
    )
    order = Order.objects.get(pk=invoice.order_id)
    orders.fulfil(order=order, filled_by=owner, key=key())

    again = invoices.issue(order=order, issued_by=owner, key=key())

    assert (str(again), again.net_cents) == ("F26-00002", 6_000)
    assert list(books.faults()) == []


def test_the_entry_of_an_invoice_balances_over_named_accounts(shop, pounds, honey_tax):
    invoice = invoice_of(shop, jars(pounds, 24, "6.10"))

    rows = EntryLine.objects.filter(entry=invoice.entry).values_list("account", "amount_cents")

    assert sorted(rows) == [("receivable", 15_555), ("sales", -14_640), ("sales_tax", -915)]
