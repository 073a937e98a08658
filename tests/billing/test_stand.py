"""Sales at the stand: goods, receipt and money together, once, and the way back."""

from datetime import timedelta

import pytest
from django.utils import timezone

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import credit_notes
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.billing.services.stand import PaymentMade
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.orders.models import Order
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    NotAllowedNow,
    NotEnoughStock,
    SeveralProblems,
)
from inventory.stock.models import Balance, Posting
from inventory.stock.queries import books as stock_books
from tests import builders
from tests.billing.conftest import invoice_of, jars, pay

pytestmark = pytest.mark.django_db


@pytest.fixture
def sell(stand):
    def sell(*lines, method="cash", tendered_cents=10_000, **more):
        fields = {
            "place": stand,
            "payments": builders.paid(method, tendered_cents),
            "sold_by": builders.person("stand"),
            "key": builders.new_key(),
        }
        return stand_sales.sell(lines=lines, **{**fields, **more})

    return sell


def at_stand(product):
    return Balance.objects.get(place__code="stand", item=product.item).quantity


def test_a_sale_moves_jars_and_money_in_one_go(sell, pounds, quarts, honey_tax):
    # 2 × 8.00 = 16.00, tax 1.00; 1 × 21.00, tax 1.3125 → 1.31; in all 39.31; 50.00 − 39.31
    sale = sell(jars(pounds, 2, "8.00"), jars(quarts, 1, "21.00"), tendered_cents=5_000)

    assert str(sale.invoice) == "R26-00001"
    assert sale.invoice.total_cents == 1_600 + 100 + 2_100 + 131
    assert sale.change_cents == 1_069
    assert (sale.payment.amount_cents, sale.payment.tendered_cents) == (3_931, 5_000)
    assert sale.invoice.open_cents == 0
    assert (at_stand(pounds), at_stand(quarts)) == (22, 5)
    assert sale.order.channel == Order.Channel.STAND
    assert list(books.faults()) == []
    assert list(stock_books.faults()) == []


def test_receipts_and_invoices_have_series_of_their_own(sell, shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 1))
    first, second = sell(jars(pounds, 1, "8.00")), sell(jars(pounds, 1, "8.00"))

    assert [str(bill) for bill in (invoice, first.invoice, second.invoice)] == [
        "F26-00001",
        "R26-00001",
        "R26-00002",
    ]


def test_a_discount_is_shared_out_to_the_last_cent(sell, pounds, quarts):
    # 37.00 less 1.00: 16.00 bears 100 × 16/37 = 43.2 → 43 cents, the rest 57
    sale = sell(jars(pounds, 2, "8.00"), jars(quarts, 1, "21.00"), discount_cents=100)

    lines = list(sale.invoice.lines.all())
    assert [line.discount_cents for line in lines] == [43, 57]
    assert [line.amount_cents for line in lines] == [1_557, 2_043]
    assert sale.invoice.total_cents == 3_600


@pytest.mark.parametrize("method", ["card", "check"])
def test_a_card_or_check_is_recorded_at_the_exact_amount(sell, pounds, method):
    sale = sell(jars(pounds, 1, "8.00"), method=method, tendered_cents=None)

    assert (sale.payment.method, sale.payment.amount_cents) == (method, 800)
    assert sale.payment.tendered_cents is None
    assert sale.change_cents == 0


@pytest.mark.parametrize(("given", "change"), [(800, 0), (801, 1)])
def test_cash_given_covers_the_sale(sell, pounds, given, change):
    assert sell(jars(pounds, 1, "8.00"), tendered_cents=given).change_cents == change


def test_too_little_cash_changes_nothing(sell, pounds):
    with pytest.raises(BadValue) as refused:
        sell(jars(pounds, 1, "8.00"), tendered_cents=799)

    assert (refused.value.parameter, refused.value.message) == (
        "payments.0.tendered_cents",
        "The sale comes to $8.00, but $7.99 was given. Ask for $0.01 more.",
    )
    assert at_stand(pounds) == 24
    assert not Order.objects.exists()
    assert not Invoice.objects.exists()
    assert not Payment.objects.exists()


def test_far_too_much_cash_is_a_slip_of_the_finger(sell, pounds):
    with pytest.raises(BadValue) as refused:
        sell(jars(pounds, 1, "8.00"), tendered_cents=200_000)

    assert refused.value.message == (
        "$2,000.00 is a lot for a sale of $8.00. Check the cash that was given."
    )


def test_no_more_is_sold_than_stands_there(sell, pounds):
    with pytest.raises(NotEnoughStock) as refused:
        sell(jars(pounds, 25, "8.00"), tendered_cents=30_000)

    assert refused.value.message == (
        "Not enough One pound at Stand. Asked for: 25 pieces. Free: 24 pieces. Take fewer."
    )
    assert at_stand(pounds) == 24
    assert not Invoice.objects.exists()


def test_everything_wrong_with_a_sale_is_said_at_once(sell):
    with pytest.raises(SeveralProblems) as refused:
        sell(
            payments=[PaymentMade("barter"), PaymentMade("cash", tendered_cents=-1)],
            discount_cents=-1,
        )

    assert [(problem.parameter, problem.message) for problem in refused.value.problems] == [
        ("lines", "The sale is empty. Choose what was sold."),
        ("payments.0.method", "Choose how it was paid: cash, card or check."),
        ("payments.1.tendered_cents", "The cash given can't be below zero."),
        ("discount_cents", "The discount can't be below zero."),
    ]


@pytest.mark.parametrize(
    ("pieces", "sentence"),
    [
        (0, "One pound: enter 1 or more."),
        (-2, "One pound: enter 1 or more."),
        (
            1_001,
            "1,001 pieces of One pound is too much for one stand sale. Take an order instead.",
        ),
    ],
)
def test_pieces_are_sensible(sell, pounds, pieces, sentence):
    with pytest.raises(BadValue) as refused:
        sell(jars(pounds, pieces, "8.00"))

    assert (refused.value.parameter, refused.value.message) == ("lines.0.quantity", sentence)
    assert at_stand(pounds) == 24


def test_cash_needs_the_amount_given(sell, pounds):
    with pytest.raises(BadValue) as refused:
        sell(jars(pounds, 1, "8.00"), tendered_cents=None)

    assert refused.value.message == "Enter the cash that was given."


@pytest.mark.parametrize(("discount", "total"), [(799, 1), (800, 0)])
def test_a_discount_may_go_down_to_nothing(sell, pounds, discount, total):
    sale = sell(jars(pounds, 1, "8.00"), discount_cents=discount, tendered_cents=total)

    assert sale.invoice.total_cents == total
    assert (sale.payment is None) == (total == 0)
    assert list(books.faults()) == []


def test_a_discount_is_no_more_than_the_jars_come_to(sell, pounds):
    with pytest.raises(BadValue) as refused:
        sell(jars(pounds, 1, "8.00"), discount_cents=801)

    assert (refused.value.parameter, refused.value.message) == (
        "discount_cents",
        "The discount of $8.01 is more than the price of the goods, $8.00. Enter a smaller "
        "discount.",
    )


def test_the_same_sale_sent_twice_is_sold_once(sell, pounds):
    first = sell(jars(pounds, 1, "8.00"), key="sale-1")

    with pytest.raises(AlreadyRecorded) as refused:
        sell(jars(pounds, 1, "8.00"), key="sale-1")

    assert refused.value.made == first
    assert at_stand(pounds) == 23
    assert Invoice.objects.count() == 1


def test_a_sale_kept_without_signal_is_dated_when_it_was_made(sell, pounds):
    sale = sell(jars(pounds, 1, "8.00"), sold_at=timezone.now() - timedelta(days=2))

    two_days_ago = timezone.localdate() - timedelta(days=2)
    assert sale.invoice.supplied_on == sale.payment.received_on == two_days_ago
    assert sale.invoice.entry.entered_on == two_days_ago
    assert sale.invoice.issued_on == timezone.localdate()
    assert sale.order.placed_on == two_days_ago


def test_a_device_whose_clock_runs_ahead_sells_today(sell, pounds):
    sale = sell(jars(pounds, 1, "8.00"), sold_at=timezone.now() + timedelta(days=2))

    assert sale.invoice.issued_on == timezone.localdate()


def test_a_sale_of_months_ago_is_a_wrong_clock_and_counts_now(sell, pounds):
    said = timezone.now() - timedelta(days=61)

    sale = sell(jars(pounds, 1, "8.00"), sold_at=said)

    assert timezone.localdate(sale.sold_at) == timezone.localdate()
    assert sale.clock_said == said


def test_a_sale_to_a_known_customer_is_on_their_account_and_paid(sell, shop, pounds):
    sale = sell(jars(pounds, 1, "8.00"), customer=shop)

    assert sale.invoice.customer == shop
    assert CustomerBalance.objects.get(customer=shop).owed_cents == 0
    assert list(books.faults()) == []


def test_undoing_a_sale_brings_back_jars_and_gives_back_money(sell, pounds, owner, key):
    sale = sell(jars(pounds, 2, "8.00"), tendered_cents=2_000)

    note = stand_sales.take_back(
        receipt=sale.invoice, taken_by=owner, key=key(), reason="Changed their mind"
    )

    assert str(note) == "C26-00001"
    assert note.total_cents == -1_600
    assert at_stand(pounds) == 24
    assert sum(payment.amount_cents for payment in Payment.objects.all()) == 0
    sale.invoice.refresh_from_db()
    assert sale.invoice.open_cents == 0
    assert list(books.faults()) == []
    assert list(stock_books.faults()) == []


def test_undoing_a_sale_to_a_known_customer_leaves_their_account_at_nothing(
    sell, shop, pounds, owner, key
):
    sale = sell(jars(pounds, 2, "8.00"), customer=shop)

    stand_sales.take_back(receipt=sale.invoice, taken_by=owner, key=key(), reason="Leaked")

    assert CustomerBalance.objects.get(customer=shop).owed_cents == 0
    assert list(books.faults()) == []


def test_a_sale_is_undone_once(sell, pounds, owner, key):
    sale = sell(jars(pounds, 2, "8.00"))
    stand_sales.take_back(receipt=sale.invoice, taken_by=owner, key=key(), reason="Leaked")

    with pytest.raises(NotAllowedNow) as refused:
        stand_sales.take_back(receipt=sale.invoice, taken_by=owner, key=key(), reason="Leaked")

    assert refused.value.message == "Receipt R26-00001 already has a credit note: C26-00001."
    assert at_stand(pounds) == 24
    assert Posting.objects.filter(kind="reversal").count() == 1


def test_a_paid_receipt_is_not_credited_without_giving_the_money_back(sell, pounds, owner, key):
    sale = sell(jars(pounds, 2, "8.00"))

    with pytest.raises(NotAllowedNow) as refused:
        credit_notes.credit(invoice=sale.invoice, issued_by=owner, key=key(), reason="Leaked")

    assert refused.value.message == (
        "Receipt R26-00001 was paid at the stand. Undo the stand sale instead, so that the money "
        "goes back with the goods."
    )
    assert Invoice.objects.count() == 1


def test_an_invoice_is_not_undone_at_the_stand(shop, pounds, owner, key):
    invoice = invoice_of(shop, jars(pounds, 1))
    pay(shop, 600)

    with pytest.raises(NotAllowedNow) as refused:
        stand_sales.take_back(receipt=invoice, taken_by=owner, key=key(), reason="Leaked")

    assert refused.value.message == (
        "F26-00001 is not a stand receipt. Make a credit note for the invoice instead."
    )
