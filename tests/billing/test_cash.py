"""Deposit slips, bounced checks, interest, cash counts and the cash book."""

from decimal import Decimal

import pytest
import time_machine

from apiary_sales.billing.interest import interest_cents
from apiary_sales.billing.models import DepositSlip, EntryLine, InterestCharge, Payment
from apiary_sales.billing.queries import as_of, books, purchase_books
from apiary_sales.billing.queries.as_of import AsOf
from apiary_sales.billing.queries.cash_book import cash_book
from apiary_sales.billing.services import (
    bounced_checks,
    cash_counts,
    closing,
    credit_notes,
    deposit_slips,
    interest,
    payments,
)
from apiary_sales.billing.services.payments import Rest
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.pricing.services import service_list
from inventory.shared.errors import BadValue, CannotReverse, NotAllowedNow
from tests import builders
from tests.billing.conftest import NOON, TODAY, days, invoice_of, jars, pay

pytestmark = pytest.mark.django_db


def account(name):
    return sum(EntryLine.objects.filter(account=name).values_list("amount_cents", flat=True))


def owed(customer):
    return CustomerBalance.objects.owed_cents(customer)


@pytest.fixture
def owner():
    return builders.person()


def deposit(*checks, cash=0, key="d-1", **more):
    return deposit_slips.deposit(
        checks=checks, cash_cents=cash, deposited_by=builders.person(), key=key, **more
    )


# ------------------------------------------------------------------ deposit slips


def test_checks_and_cash_go_to_the_bank_together(shop):
    first, second = pay(shop, 2_000), pay(shop, 3_050, reference="77")
    pay(shop, 10_000, method="cash")

    slip = deposit(first, second, cash=8_000, bank_account="Valley Bank, 42")

    assert (slip.number, slip.total_cents) == (1, 13_050)
    assert (account("check"), account("cash"), account("transfer")) == (0, 2_000, 13_050)
    assert list(deposit_slips.checks_here()) == []
    assert list(books.faults()) == []


def test_a_check_is_deposited_once(shop):
    check = pay(shop, 2_000)
    deposit(check)

    with pytest.raises(BadValue, match=r"The check over \$20.00 is not here any more"):
        deposit(check, key="d-2")
    assert DepositSlip.objects.count() == 1


@pytest.mark.parametrize(("cash", "is_there"), [(2_000, True), (2_001, False), (-1, False)])
def test_no_more_cash_is_deposited_than_there_is(shop, cash, is_there):
    pay(shop, 2_000, method="cash")

    if is_there:
        deposit(cash=cash)
    else:
        with pytest.raises(BadValue, match=r"There is \$20.00 of cash in the books"):
            deposit(cash=cash)
    assert DepositSlip.objects.exists() == is_there


def test_no_cash_is_deposited_before_it_was_there(shop):
    pay(shop, 2_000, method="cash")

    with pytest.raises(BadValue, match=r"There is \$0.00 of cash in the books"):
        deposit(cash=2_000, deposited_on=TODAY - days(3))
    assert account("cash") == 2_000


def test_an_empty_slip_is_refused(shop):
    with pytest.raises(BadValue, match="Choose checks"):
        deposit()


def test_a_slip_that_is_undone_leaves_its_checks_here(shop, owner):
    check = pay(shop, 2_000)
    slip = deposit(check)

    deposit_slips.undo(slip=slip, undone_by=owner, reason="Bank was closed")

    assert list(deposit_slips.checks_here()) == [check]
    assert (account("check"), account("transfer")) == (2_000, 0)
    assert deposit(check, key="d-2").number == 2
    with pytest.raises(CannotReverse):
        deposit_slips.undo(slip=slip, undone_by=owner, reason="Again")


def test_a_deposited_check_is_not_undone_as_if_it_were_here(shop, owner):
    check = pay(shop, 2_000)
    deposit(check)

    with pytest.raises(CannotReverse, match="on deposit slip 1"):
        payments.reverse(payment=check, reversed_by=owner, key="u", reason="Wrong")


# ------------------------------------------------------------------ bounced checks


def test_a_check_that_bounces_is_owed_again_and_the_bank_takes_its_fee(shop, pounds, owner):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    check = pay(shop, 6_000)
    deposit(check)

    bounced_checks.record(payment=check, recorded_by=owner, key="b-1", bank_fee_cents=1_200)

    invoice.refresh_from_db()
    assert (invoice.open_cents, owed(shop)) == (6_000, 6_000)
    # 60.00 came and went, and the fee of 12.00 went.
    assert (account("check"), account("transfer"), account("fees")) == (0, -1_200, 1_200)
    assert list(books.faults()) == []


def test_a_check_that_bounced_days_ago_is_owed_again_from_that_day(shop, pounds, owner):
    invoice_of(shop, jars(pounds, 10, "6.00"))
    check = pay(shop, 6_000)

    with time_machine.travel(NOON + days(10)):
        bounced_checks.record(
            payment=check, recorded_by=owner, key="b-1", bounced_on=TODAY + days(5)
        )

    before, between = (as_of.account(shop, AsOf(TODAY + days(after))) for after in (4, 7))
    assert (before.owed_cents, before.aging.total, before.on_account_cents) == (0, 0, 0)
    assert (between.owed_cents, between.aging.total, between.on_account_cents) == (6_000, 6_000, 0)


def test_a_check_bounces_no_earlier_than_it_was_deposited(shop, owner):
    check = pay(shop, 6_000)
    with time_machine.travel(NOON + days(10)):
        deposit(check)
        record = {"payment": check, "recorded_by": owner, "key": "b-1"}

        with pytest.raises(BadValue, match="brought to the bank on Sep 20, 2026") as raised:
            bounced_checks.record(**record, bounced_on=TODAY + days(9))
        assert raised.value.parameter == "bounced_on"
        bounced_checks.record(**record, bounced_on=TODAY + days(10))


def test_a_check_used_after_it_bounced_leaves_the_bill_only_then(shop, pounds, owner):
    check = pay(shop, 6_000)
    with time_machine.travel(NOON + days(6)):
        invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
        payments.use_on_account(invoice=invoice)

        bounced_checks.record(
            payment=check, recorded_by=owner, key="b-1", bounced_on=TODAY + days(2)
        )

    found = [as_of.account(shop, AsOf(TODAY + days(after))) for after in (1, 3, 6)]
    assert [each.owed_cents for each in found] == [-6_000, 0, 6_000]
    assert [each.aging.total for each in found] == [0, 0, 6_000]


def test_the_discount_of_a_check_that_bounced_days_ago_ends_on_that_day(shop, pounds, owner):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    check = pay(shop, 5_900, allocations={invoice: 5_900}, rest=Rest.WRITE_OFF, rest_reason="Short")

    with time_machine.travel(NOON + days(10)):
        bounced_checks.record(
            payment=check, recorded_by=owner, key="b-1", bounced_on=TODAY + days(5)
        )

    between = as_of.account(shop, AsOf(TODAY + days(7)))
    assert (between.owed_cents, between.aging.total) == (6_000, 6_000)


def test_the_customer_is_billed_for_a_check_that_bounced(shop, owner):
    service_list.add_usual()
    check = pay(shop, 6_000)

    bounced = bounced_checks.record(
        payment=check, recorded_by=owner, key="b-1", customer_fee_cents=3_500
    )

    assert (bounced.bill.total_cents, owed(shop)) == (3_500, 3_500)
    assert bounced.entry is None


def test_a_fee_needs_its_service(shop, owner):
    check = pay(shop, 6_000)

    with pytest.raises(NotAllowedNow, match="returned-check fee"):
        bounced_checks.record(payment=check, recorded_by=owner, key="b-1", customer_fee_cents=3_500)
    assert Payment.objects.count() == 1


def test_cash_does_not_bounce(shop, owner):
    with pytest.raises(NotAllowedNow, match="Only a check"):
        bounced_checks.record(payment=pay(shop, 100, method="cash"), recorded_by=owner, key="b")


def test_a_check_that_was_good_after_all_is_in_the_bank_again(shop, pounds, owner):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    check = pay(shop, 6_000)
    deposit(check)
    bounced = bounced_checks.record(
        payment=check, recorded_by=owner, key="b-1", bank_fee_cents=1_200
    )

    bounced_checks.undo(bounced=bounced, undone_by=owner, key="b-2", reason="Bank was wrong")

    invoice.refresh_from_db()
    assert (invoice.open_cents, owed(shop)) == (0, 0)
    assert (account("check"), account("transfer"), account("fees")) == (0, 6_000, 0)
    assert list(deposit_slips.checks_here()) == []
    assert list(books.faults()) == []


# ------------------------------------------------------------------ interest


# Simple interest over actual days of 365 (common practice): 1,000.00 at 12 % for 30 days is
# 1000 × 0.12 × 30 / 365 = 9.863…; for 365 days it is 120.00.
@pytest.mark.parametrize(
    ("cents", "percent", "length", "expected"),
    [
        (100_000, "12", 30, 986),
        (100_000, "12", 365, 12_000),
        (100_000, "18", 1, 49),
        (1, "18", 1, 0),
        (250_000, "7.5", 90, 4_623),
    ],
)
def test_interest_is_simple_over_365_days(cents, percent, length, expected):
    assert interest_cents(cents, Decimal(percent), length) == expected


def test_interest_is_billed_for_the_days_past_due_once(shop, pounds, owner):
    """60.00 at 18 %: 20 days are 0.5918, 0.59; the 10 days after them 0.2959, 0.30."""
    service_list.add_usual()
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    def charge(key, **more):
        return interest.charge(
            customer=shop, percent_a_year=Decimal(18), billed_by=owner, key=key, **more
        )

    with time_machine.travel(NOON + days(30), tick=False), pytest.raises(NotAllowedNow):
        charge("n-0")
    with time_machine.travel(NOON + days(50), tick=False):
        first = charge("n-1", total_cents=59)
        with pytest.raises(NotAllowedNow):
            charge("n-2")
    with time_machine.travel(NOON + days(60), tick=False):
        with pytest.raises(BadValue, match=r"The interest is \$0.30 by now, not \$0.59"):
            charge("n-3", total_cents=59)
        second = charge("n-3", total_cents=30)

    assert (first.total_cents, second.total_cents) == (59, 30)
    assert [charge.days for charge in InterestCharge.objects.filter(invoice=invoice)] == [20, 10]
    assert "18 % a year, 20 days to" in first.lines.get().description


def test_interest_bears_no_interest(shop, pounds, owner):
    service_list.add_usual()
    invoice_of(shop, jars(pounds, 10, "6.00"))
    with time_machine.travel(NOON + days(60), tick=False):
        interest.charge(customer=shop, percent_a_year=Decimal(18), billed_by=owner, key="n-1")
    with time_machine.travel(NOON + days(400), tick=False):
        found = interest.preview(shop, percent_a_year=Decimal(18), until=TODAY + days(400))

    assert [each.overdue.name for each in found] == ["F26-00001"]


def test_interest_that_was_credited_can_be_charged_again(shop, pounds, owner):
    service_list.add_usual()
    invoice_of(shop, jars(pounds, 10, "6.00"))
    with time_machine.travel(NOON + days(60), tick=False):
        bill = interest.charge(
            customer=shop, percent_a_year=Decimal(18), billed_by=owner, key="n-1"
        )
        credit_notes.credit(invoice=bill, issued_by=owner, key="c-1", reason="Goodwill")
        found = interest.preview(shop, percent_a_year=Decimal(18), until=TODAY + days(60))

    assert [each.days for each in found] == [30]


# ------------------------------------------------------------------ the cash book


def test_the_cash_book_runs_from_what_was_there_to_what_is(shop, owner):
    pay(shop, 1_000, method="cash", received_on=TODAY - days(3))
    pay(shop, 2_000, method="cash")
    payments.pay_back(customer=shop, amount_cents=500, method="cash", paid_by=owner, key="p-1")
    check = pay(shop, 700)
    deposit(check, cash=1_500)

    found = cash_book(TODAY, TODAY)
    cash, checks, _cards, bank = found.accounts

    def sums(one):
        return (one.opening_cents, one.in_cents, one.out_cents, one.closing_cents)

    assert sums(cash) == (1_000, 2_000, 2_000, 1_000)
    assert sums(checks) == (0, 700, 700, 0)
    assert sums(bank) == (0, 2_200, 0, 2_200)
    assert [line.text for line in cash_book(TODAY, TODAY, "cash").lines] == [
        "Payment, Corner Grocery",
        "Money given back, Corner Grocery",
        "Deposit slip 1",
    ]
    assert [line.balance_cents for line in cash_book(TODAY, TODAY, "cash").lines] == [
        3_000,
        2_500,
        1_000,
    ]


@pytest.mark.parametrize(("counted", "over"), [(1_990, -10), (2_000, 0), (2_003, 3)])
def test_cash_that_is_over_or_short_is_posted(shop, owner, counted, over):
    pay(shop, 2_000, method="cash")

    made = cash_counts.count(counted_cents=counted, counted_by=owner, key="k", note="Counted twice")

    assert (made.difference_cents, account("cash"), account("expenses")) == (over, counted, -over)
    assert list(purchase_books.faults()) == []
    cash_counts.undo(cash_count=made, undone_by=owner, reason="Miscounted")
    assert (account("cash"), account("expenses")) == (2_000, 0)
    assert list(purchase_books.faults()) == []


def test_cash_is_not_counted_on_a_closed_day(shop, owner):
    """A late sale of that day counts today already: the count would enter it a second time."""
    pay(shop, 2_000, method="cash", received_on=TODAY - days(2))
    closing.close(until=TODAY - days(1), locked_by=owner, key="l")
    pay(shop, 800, method="cash", received_on=TODAY - days(1))

    with pytest.raises(BadValue, match="The books are closed on Sep 9, 2026") as raised:
        cash_counts.count(
            counted_cents=2_800,
            counted_by=owner,
            key="k",
            counted_on=TODAY - days(1),
            note="Came late",
        )
    assert raised.value.parameter == "counted_on"
    assert account("cash") == 2_800


def test_a_difference_of_cash_needs_a_note(shop, owner):
    pay(shop, 2_000, method="cash")

    with pytest.raises(BadValue, match=r"The books have \$20.00"):
        cash_counts.count(counted_cents=1_990, counted_by=owner, key="k")
