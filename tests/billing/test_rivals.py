"""Several people at once, on a real PostgreSQL: one invoice, one payment, one stand sale."""

import pytest

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import credit_notes, invoices, payments, stand_pickups
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.customers.models import CustomerBalance
from inventory.shared.errors import AlreadyRecorded, HouseError, NotAllowedNow
from inventory.stock.models import Balance
from inventory.stock.queries import books as stock_books
from tests import builders
from tests.billing.conftest import invoice_of, jars, order_of, pay
from tests.rivals import together

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]


def test_of_two_people_who_invoice_one_order_one_does(shop, pounds, owner):
    order = order_of(shop, jars(pounds, 10))

    outcomes = together(
        *(
            lambda number=number: invoices.issue(order=order, issued_by=owner, key=f"i-{number}")
            for number in range(3)
        )
    )

    assert [type(outcome) for outcome in outcomes].count(Invoice) == 1
    assert [type(outcome) for outcome in outcomes].count(NotAllowedNow) == 2
    assert Invoice.objects.count() == 1
    assert list(books.faults()) == []


def test_numbers_have_no_gap_and_no_twin_when_many_invoice_at_once(shop, pounds, owner):
    orders = [order_of(shop, jars(pounds, 2)) for _number in range(8)]

    together(
        *(
            lambda order=order: invoices.issue(order=order, issued_by=owner, key=order.number)
            for order in orders
        )
    )

    numbers = sorted(Invoice.objects.values_list("number", flat=True))
    assert numbers == list(range(1, 9))
    assert list(books.faults()) == []


def test_two_payments_at_once_pay_no_invoice_twice(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    together(*(lambda: pay(shop, 4_000) for _number in range(4)))

    invoice.refresh_from_db()
    assert invoice.open_cents == 0
    assert CustomerBalance.objects.get().owed_cents == 6_000 - 4 * 4_000
    assert sum(payment.left_cents for payment in payments.money_left(shop)) == 10_000
    assert list(books.faults()) == []


def test_the_same_sale_sent_twice_at_once_is_sold_once(stand, pounds, owner):
    def sell():
        return stand_sales.sell(
            lines=[jars(pounds, 2, "8.00")],
            place=stand,
            payments=builders.paid("cash", 2_000),
            sold_by=owner,
            key="one-sale",
        )

    outcomes = together(sell, sell, sell)

    repeats = [outcome for outcome in outcomes if isinstance(outcome, AlreadyRecorded)]
    [sale] = [outcome for outcome in outcomes if not isinstance(outcome, HouseError)]
    assert [repeat.made for repeat in repeats] == [sale, sale]
    assert (Invoice.objects.count(), Payment.objects.count()) == (1, 1)
    assert Balance.objects.get(place=stand).quantity == 22
    assert list(books.faults()) == []


def test_of_two_people_who_hand_over_one_order_one_does(stand, shop, pounds, owner):
    order = order_of(shop, jars(pounds, 2, "6.00"), fill=False)

    def hand_over(key):
        return stand_pickups.hand_over(
            order=order,
            place=stand,
            payments=builders.paid("cash", 2_000),
            handed_over_by=owner,
            key=key,
        )

    outcomes = together(*(lambda key=key: hand_over(key) for key in ("one", "two", "two")))

    [sale] = [outcome for outcome in outcomes if not isinstance(outcome, HouseError)]
    assert all(isinstance(one, (NotAllowedNow, AlreadyRecorded)) for one in outcomes if one != sale)
    assert (Invoice.objects.count(), Payment.objects.count()) == (1, 1)
    assert Balance.objects.get(place=stand).quantity == 22
    assert list(books.faults()) == []
    assert list(stock_books.faults()) == []


def test_crossing_acts_on_one_account_never_block_each_other(shop, stand, pounds, owner):
    paid = [invoice_of(shop, jars(pounds, 2, "6.00")) for _number in range(3)]
    checks = [pay(shop, 500) for _number in range(3)]
    acts = []
    for number in range(3):
        acts += [
            lambda number=number: credit_notes.credit(
                invoice=paid[number], issued_by=owner, key=f"c-{number}", reason="Leaked"
            ),
            lambda number=number: payments.reverse(
                payment=checks[number], reversed_by=owner, key=f"u-{number}", reason="Bounced"
            ),
            lambda number=number: stand_sales.sell(
                lines=[jars(pounds, 1, "8.00")],
                place=stand,
                payments=builders.paid("card", None),
                sold_by=owner,
                key=f"s-{number}",
                customer=shop,
            ),
        ]

    outcomes = together(*acts)

    assert [outcome for outcome in outcomes if isinstance(outcome, HouseError)] == []
    assert CustomerBalance.objects.get().owed_cents == 0
    assert list(books.faults()) == []
    assert list(stock_books.faults()) == []
