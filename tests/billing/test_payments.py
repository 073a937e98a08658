"""Payments: whole, in part, too much, bounced; and what a customer owes after each."""

from datetime import datetime, time

import pytest
import time_machine

from apiary_sales.billing.models import Allocation, EntryLine, Payment
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import credit_notes, payments
from apiary_sales.customers.models import CustomerBalance
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    CannotReverse,
    NotAllowedNow,
    SeveralProblems,
)
from tests import builders
from tests.billing.conftest import TODAY, days, invoice_of, jars, pay

pytestmark = pytest.mark.django_db


@pytest.fixture
def invoice(shop, pounds):
    """60.00, due on 10 October."""
    return invoice_of(shop, jars(pounds, 10, "6.00"))


@pytest.fixture
def later(shop, pounds, invoice):
    """A second invoice, of 30.00."""
    return invoice_of(shop, jars(pounds, 5, "6.00"))


def owed(customer):
    return CustomerBalance.objects.get(customer=customer).owed_cents


def left_to_pay(*some):
    for invoice in some:
        invoice.refresh_from_db()
    return [invoice.open_cents for invoice in some]


@pytest.mark.parametrize(("paid", "left"), [(5_999, 1), (6_000, 0)])
def test_a_payment_lowers_what_is_owed(shop, invoice, paid, left):
    pay(shop, paid)

    assert left_to_pay(invoice) == [left]
    assert owed(shop) == left
    assert list(books.faults()) == []


def test_what_is_paid_beyond_the_invoices_stays_on_account(shop, invoice):
    pay(shop, 6_001)

    assert left_to_pay(invoice) == [0]
    assert owed(shop) == -1
    assert [payment.left_cents for payment in payments.money_left(shop)] == [1]
    assert list(books.faults()) == []


def test_the_oldest_invoice_is_paid_first(shop, invoice, later):
    pay(shop, 7_000)  # 60.00 for the first, 10.00 of 30.00 for the second

    assert left_to_pay(invoice, later) == [0, 2_000]


def test_a_payment_goes_where_the_buyer_says(shop, invoice, later):
    pay(shop, 3_000, allocations={later: 2_500})

    assert left_to_pay(invoice, later) == [6_000, 500]
    assert owed(shop) == 6_000  # 60.00 + 30.00 − 30.00
    assert [payment.left_cents for payment in payments.money_left(shop)] == [500]
    assert list(books.faults()) == []


def test_money_on_account_pays_a_later_invoice(shop, pounds):
    first = pay(shop, 4_000)
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    used = payments.use_on_account(invoice=invoice)

    assert used == 4_000
    assert left_to_pay(invoice) == [2_000]
    assert payments.put_to(first) == [(invoice, 4_000)]
    with pytest.raises(NotAllowedNow) as refused:
        payments.use_on_account(invoice=invoice)
    assert refused.value.message == "Corner Grocery has no money on account."
    assert list(books.faults()) == []


def give_back(customer, cents, **more):
    return payments.pay_back(
        customer=customer,
        amount_cents=cents,
        method="cash",
        paid_by=builders.person(),
        key=more.pop("key", None) or builders.new_key(),
        **more,
    )


def test_money_given_back_is_no_longer_on_account(shop, pounds):
    pay(shop, 4_000)

    given = give_back(shop, 3_000)

    assert (given.amount_cents, owed(shop)) == (-3_000, -1_000)
    assert payments.on_account_cents(shop) == 1_000
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    assert payments.use_on_account(invoice=invoice) == 1_000
    assert left_to_pay(invoice) == [5_000]
    assert list(books.faults()) == []


@pytest.mark.parametrize(
    ("cents", "sentence"),
    [
        (
            4_001,
            (
                "Corner Grocery has $40.00 on account, so $40.01 can't be given back. Enter a "
                "smaller amount."
            ),
        ),
        (0, "Enter an amount above zero."),
    ],
)
def test_no_more_is_given_back_than_is_on_account(shop, invoice, cents, sentence):
    pay(shop, 10_000)  # 60.00 for the invoice, 40.00 on account

    with pytest.raises(BadValue) as refused:
        give_back(shop, cents)

    assert (refused.value.parameter, refused.value.message) == ("amount_cents", sentence)
    assert owed(shop) == -4_000


def test_the_same_money_is_given_back_once(shop, key):
    pay(shop, 4_000)
    once = key()
    first = give_back(shop, 1_000, key=once)

    with pytest.raises(AlreadyRecorded) as refused:
        give_back(shop, 1_000, key=once)

    assert refused.value.made == first
    assert owed(shop) == -3_000


def test_a_payment_given_back_in_part_bounces_only_after_that_is_undone(shop, owner, key):
    payment = pay(shop, 4_000)
    given = give_back(shop, 1_000)

    with pytest.raises(CannotReverse) as refused:
        payments.reverse(payment=payment, reversed_by=owner, key=key(), reason="Bounced")
    assert refused.value.message == (
        "Part of this payment was given back to Corner Grocery. Undo that first."
    )

    payments.reverse(payment=given, reversed_by=owner, key=key(), reason="Not handed over")
    payments.reverse(payment=payment, reversed_by=owner, key=key(), reason="Bounced")
    assert owed(shop) == 0
    assert list(books.faults()) == []


def test_a_bounced_check_opens_its_invoices_again(shop, invoice, later, owner, key):
    payment = pay(shop, 7_000)

    reversal = payments.reverse(
        payment=payment, reversed_by=owner, key=key(), reason="Check bounced"
    )

    assert left_to_pay(invoice, later) == [6_000, 3_000]
    assert owed(shop) == 9_000
    assert (reversal.amount_cents, reversal.note) == (-7_000, "Check bounced")
    assert list(payments.money_left(shop)) == []
    assert list(books.faults()) == []


def test_a_payment_is_undone_once(shop, invoice, owner, key):
    payment = pay(shop, 6_000)
    reversal = payments.reverse(payment=payment, reversed_by=owner, key=key(), reason="Bounced")

    with pytest.raises(CannotReverse) as again:
        payments.reverse(payment=payment, reversed_by=owner, key=key(), reason="Bounced")
    with pytest.raises(CannotReverse) as back:
        payments.reverse(payment=reversal, reversed_by=owner, key=key(), reason="Bounced")

    assert again.value.message == "This payment was undone already."
    assert back.value.message == (
        "This record undoes a payment, so it can't be undone itself. Record the payment "
        "again instead."
    )
    assert Payment.objects.count() == 2


def test_an_undo_says_why(shop, invoice, owner, key):
    payment = pay(shop, 6_000)

    with pytest.raises(BadValue) as refused:
        payments.reverse(payment=payment, reversed_by=owner, key=key(), reason="")

    assert refused.value.message == ("Say why the payment is undone, for example: check bounced.")
    assert owed(shop) == 0


def test_a_payment_whose_invoice_was_credited_can_still_bounce(shop, invoice, owner, key):
    payment = pay(shop, 6_000)
    credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Wrong goods")

    payments.reverse(payment=payment, reversed_by=owner, key=key(), reason="Check bounced")

    assert owed(shop) == 0
    assert left_to_pay(invoice) == [0]
    assert list(books.faults()) == []


def test_an_invoice_whose_check_bounced_can_be_credited(shop, invoice, owner, key):
    payment = pay(shop, 500)
    payments.reverse(payment=payment, reversed_by=owner, key=key(), reason="Check bounced")

    credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Wrong goods")

    assert owed(shop) == 0
    assert left_to_pay(invoice) == [0]
    assert list(payments.money_left(shop)) == []
    assert list(books.faults()) == []


@pytest.mark.parametrize(
    ("cents", "sentence"),
    [
        (-1, "Enter an amount above zero."),
        (0, "Enter an amount above zero."),
        (
            100_000_001,
            "$1,000,000.01 is too much for one payment. Check the figure.",
        ),
    ],
)
def test_an_amount_is_sensible(shop, invoice, cents, sentence):
    with pytest.raises(BadValue) as refused:
        pay(shop, cents)

    assert (refused.value.parameter, refused.value.message) == ("amount_cents", sentence)
    assert not Payment.objects.exists()
    assert owed(shop) == 6_000


def test_everything_wrong_with_a_payment_is_said_at_once(shop, invoice):
    with pytest.raises(SeveralProblems) as refused:
        pay(shop, 0, method="barter", received_on=TODAY + days(1))

    assert [(problem.parameter, problem.message) for problem in refused.value.problems] == [
        ("amount_cents", "Enter an amount above zero."),
        ("method", "Choose how it was paid: cash, check, card or bank transfer."),
        ("received_on", "A payment can't be dated in the future. Choose today or an earlier day."),
    ]


@pytest.mark.parametrize(
    ("put", "sentence"),
    [
        (
            6_001,
            (
                "You entered $60.01 for invoice F26-00001, which has $60.00 left to pay. Enter "
                "an amount from 0 to $60.00."
            ),
        ),
        (
            -1,
            (
                "You entered −$0.01 for invoice F26-00001, which has $60.00 left to pay. Enter "
                "an amount from 0 to $60.00."
            ),
        ),
        (
            5_001,
            (
                "The amounts for the invoices come to $50.01, but the payment is only $50.00. "
                "Enter smaller amounts."
            ),
        ),
    ],
)
def test_no_more_goes_to_an_invoice_than_fits(shop, invoice, put, sentence):
    amount = 5_000 if put == 5_001 else 10_000

    with pytest.raises(BadValue) as refused:
        pay(shop, amount, allocations={invoice: put})

    parameter = "allocations" if put == 5_001 else "allocations.0.amount_cents"
    assert (refused.value.parameter, refused.value.message) == (parameter, sentence)
    assert not Allocation.objects.exists()


def test_a_payment_pays_no_other_customers_invoice(shop, invoice):
    other = builders.customer("Harvest Table")

    with pytest.raises(BadValue) as refused:
        pay(other, 6_000, allocations={invoice: 6_000})

    assert refused.value.message == "Invoice F26-00001 is not one of this customer's."


def test_the_same_form_twice_records_one_payment(shop, invoice, key):
    once = key()
    first = pay(shop, 2_000, key=once)

    with pytest.raises(AlreadyRecorded) as refused:
        pay(shop, 2_000, key=once)

    assert refused.value.made == first
    assert owed(shop) == 4_000


def test_money_is_entered_by_the_way_it_came(shop, invoice):
    payment = pay(shop, 2_000, method="transfer")

    rows = EntryLine.objects.filter(entry=payment.entry).values_list("account", "amount_cents")

    assert sorted(rows) == [("receivable", -2_000), ("transfer", 2_000)]


@pytest.mark.parametrize(
    ("days_after_the_invoice", "is_taken"), [(-1, False), (0, True), (366, True), (367, False)]
)
def test_money_of_an_earlier_year_is_taken_in_the_year_after_its_invoice(
    shop, invoice, days_after_the_invoice, is_taken
):
    received_on = TODAY + days(days_after_the_invoice)

    with time_machine.travel(datetime.combine(TODAY + days(800), time(12)), tick=False):
        if is_taken:
            pay(shop, 6_000, received_on=received_on, allocations={invoice: 6_000})
        else:
            with pytest.raises(BadValue, match="is more than a year ago") as refused:
                pay(shop, 6_000, received_on=received_on, allocations={invoice: 6_000})
            assert refused.value.parameter == "received_on"

    assert left_to_pay(invoice) == [0 if is_taken else 6_000]
