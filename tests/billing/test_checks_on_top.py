"""A check that a buyer at the stand wrote for more than the price goes to the bank as a whole."""

from functools import partial

import pytest

from apiary_sales.billing.models import EntryLine, Payment, StandSale
from apiary_sales.billing.queries import books
from apiary_sales.billing.queries.receipts import facts_of
from apiary_sales.billing.services import bounced_checks, deposit_slips, payments, stand
from apiary_sales.billing.services.stand_money import PaymentMade
from tests import builders
from tests.billing.stand_drawer import sell_jars

pytestmark = pytest.mark.django_db


@pytest.fixture
def stand_place(request):
    return request.getfixturevalue("stand")


@pytest.fixture
def sell(house, stand_place, pounds):
    return partial(sell_jars, pounds, place=stand_place)


def accounts():
    """Return what is on checks, the bank, and what was given on top."""
    names = ("check", "transfer", "tips", "gifts")
    lines = EntryLine.objects.filter(account__in=names).values_list("account", "amount_cents")
    on = dict.fromkeys(names, 0)
    for name, cents in lines:
        on[name] += cents
    return on["check"], on["transfer"], -on["tips"] - on["gifts"]


def deposit(*checks):
    return deposit_slips.deposit(
        checks=checks, cash_cents=0, deposited_by=builders.person(), key=builders.new_key()
    )


def bounce(check):
    return bounced_checks.record(
        payment=check, recorded_by=builders.person(), key=builders.new_key()
    )


@pytest.fixture
def sale(sell):
    # Goods of 16.00, and 5.00 on top, by one check over 21.00.
    return sell(2, payments=[PaymentMade("check", 2_100, reference="7")], on_top_cents=500)


def test_the_bank_gets_a_check_as_it_is_written(sale):
    [check] = deposit_slips.checks_here()
    assert (check.amount_cents, check.face_cents) == (1_600, 2_100)

    slip = deposit(check)

    assert slip.total_cents == 2_100
    assert accounts() == (0, 2_100, 500)
    assert list(books.faults()) == []


def test_an_undone_slip_leaves_the_whole_check_here(sale):
    slip = deposit(*deposit_slips.checks_here())

    deposit_slips.undo(slip=slip, undone_by=builders.person(), reason="Bank was closed")

    assert accounts() == (2_100, 0, 500)
    assert [check.face_cents for check in deposit_slips.checks_here()] == [2_100]


@pytest.mark.parametrize("is_deposited", [True, False])
def test_with_a_check_that_bounces_what_was_on_top_is_gone(sale, is_deposited):
    check = sale.payment
    if is_deposited:
        deposit(check)

    bounce(check)

    assert accounts() == (0, 0, 0)
    assert list(books.faults()) == []


@pytest.mark.parametrize("is_deposited", [True, False])
def test_a_check_that_was_good_after_all_brings_its_on_top_again(sale, is_deposited):
    check = sale.payment
    if is_deposited:
        deposit(check)
    bounced = bounce(check)

    undone = bounced_checks.undo(
        bounced=bounced, undone_by=builders.person(), key="good", reason="Paid after all"
    )

    assert accounts() == ((0, 2_100, 500) if is_deposited else (2_100, 0, 500))
    assert undone.recorded_again.face_cents == 2_100
    bounce(undone.recorded_again)
    assert accounts()[2] == 0
    assert list(books.faults()) == []


@pytest.mark.parametrize("has_bounced", [True, False])
def test_a_sale_that_is_taken_back_gives_its_on_top_back_once(sale, has_bounced):
    if has_bounced:
        bounce(sale.payment)

    stand.take_back(receipt=sale.receipt, taken_by=builders.person(), key="b", reason="Mistake")

    assert accounts() == (0, 0, 0)
    assert list(books.faults()) == []


def test_a_check_payment_that_is_undone_alone_takes_its_on_top_with_it(sale):
    payments.reverse(
        payment=sale.payment, reversed_by=builders.person(), key="u", reason="Never given"
    )

    assert accounts() == (0, 0, 0)


def test_each_check_pays_for_some_of_the_goods(sell):
    sale = sell(
        2,
        payments=[PaymentMade("check", 1_600, reference="1"), PaymentMade("check", 500)],
        on_top_cents=500,
    )

    faces = [(check.amount_cents, check.face_cents) for check in deposit_slips.checks_here()]
    assert faces == [(1_100, 1_600), (500, 500)]
    shown = [given.given_cents for given in facts_of(sale.receipt).money]
    assert shown == [1_600, 500]


def test_cash_gives_what_is_on_top_before_a_check_does(sell):
    sale = sell(
        2,
        payments=[PaymentMade("cash", 1_600, tendered_cents=1_600), PaymentMade("check", 500)],
        on_top_cents=500,
    )

    [check] = Payment.objects.filter(method="check")
    assert (check.amount_cents, check.on_top_cents) == (500, 0)
    assert StandSale.objects.get().change_cents == 0
    assert [given.given_cents for given in facts_of(sale.receipt).money] == [1_600, 500]
