"""What takes off an invoice without money or goods, and its way back."""

from decimal import Decimal

import pytest
import time_machine

from apiary_sales.billing.models import Adjustment, Allocation, EntryLine, Payment
from apiary_sales.billing.queries import books
from apiary_sales.billing.queries.as_of import AsOf, receivables
from apiary_sales.billing.services import (
    adjustments,
    corrected_invoices,
    credit_notes,
    invoices,
    payments,
)
from apiary_sales.billing.services.corrected_invoices import LineChange
from apiary_sales.billing.services.payments import LooksLikeAnother, Rest
from apiary_sales.customers.models import CustomerBalance
from inventory.shared.errors import BadValue, CannotReverse
from inventory.shared.models import House
from tests import builders
from tests.billing.conftest import NOON, TODAY, days, invoice_of, jars, order_of, pay

pytestmark = pytest.mark.django_db


def account(name):
    return sum(EntryLine.objects.filter(account=name).values_list("amount_cents", flat=True))


def owed(customer):
    return CustomerBalance.objects.owed_cents(customer)


@pytest.fixture
def terms(shop):
    """2 % off within 10 days, net 30."""
    shop.discount_percent, shop.discount_days = Decimal(2), 10
    shop.save()
    return shop


@pytest.fixture
def owner():
    return builders.person()


def test_a_remainder_is_written_off(shop, pounds, owner):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    pay(shop, 5_988)

    adjustments.adjust(
        invoice=invoice, kind="write_off", cents=12, reason="Cents", made_by=owner, key="w-1"
    )

    invoice.refresh_from_db()
    assert invoice.open_cents == 0
    assert (account("write_offs"), account("receivable"), owed(shop)) == (12, 0, 0)
    assert list(books.faults()) == []


def test_a_write_off_taken_back_is_owed_again(shop, pounds, owner):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    made = adjustments.adjust(
        invoice=invoice, kind="bad_debt", cents=6_000, reason="Closed", made_by=owner, key="w-1"
    )

    adjustments.undo(adjustment=made, undone_by=owner, key="w-2", reason="They paid")

    invoice.refresh_from_db()
    assert (invoice.open_cents, account("write_offs"), owed(shop)) == (6_000, 0, 6_000)
    with pytest.raises(CannotReverse, match="undone already"):
        adjustments.undo(adjustment=made, undone_by=owner, key="w-3", reason="Again")
    assert list(books.faults()) == []


@pytest.mark.parametrize("cents", [0, -1, 6_001])
def test_no_more_is_written_off_than_is_open(shop, pounds, owner, cents):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    with pytest.raises(BadValue, match=r"has \$60.00 left to pay"):
        adjustments.adjust(
            invoice=invoice, kind="write_off", cents=cents, reason="x", made_by=owner, key="w"
        )
    assert not Adjustment.objects.exists()


def test_a_bad_debt_may_take_its_tax_along(shop, pounds, owner, honey_tax):
    """60.00 and 6.25 % are 63.75; of a third, 21.25, the tax is 1.25."""
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    made = adjustments.adjust(
        invoice=invoice,
        kind="bad_debt",
        cents=2_125,
        reason="Closed",
        lowers_tax=True,
        made_by=owner,
        key="w-1",
    )

    assert (made.net_cents, made.tax_cents) == (2_000, 125)
    assert [(tax.name, tax.base_cents, tax.tax_cents) for tax in made.taxes.all()] == [
        ("State sales tax", 2_000, 125)
    ]
    # 3.75 of tax was billed.
    assert account("sales_tax") == -375 + 125
    assert list(books.faults()) == []


# 2/10, net 30: common practice; 2 % of 100.00 is 2.00, of 60.00 1.20.


def test_terms_are_fixed_when_the_invoice_is_issued(terms, pounds):
    invoice = invoice_of(terms, jars(pounds, 10, "6.00"))
    terms.discount_percent = Decimal(5)
    terms.save()

    invoice.refresh_from_db()
    assert invoice.discount_until == TODAY + days(10)
    assert (invoice.discount_cents, invoice.due_on) == (120, TODAY + days(30))


def test_a_payment_within_the_days_takes_the_discount(terms, pounds):
    invoice = invoice_of(terms, jars(pounds, 10, "6.00"))

    pay(terms, 5_880, rest=Rest.DISCOUNT)

    invoice.refresh_from_db()
    assert invoice.open_cents == 0
    assert (account("discounts"), owed(terms)) == (120, 0)
    assert list(books.faults()) == []


@pytest.mark.parametrize("cents", [5_879, 5_881])
def test_a_discount_is_exactly_what_the_terms_say(terms, pounds, cents):
    invoice_of(terms, jars(pounds, 10, "6.00"))

    with pytest.raises(BadValue, match=r"The discount on invoice F26-00001 is \$1.20"):
        pay(terms, cents, rest=Rest.DISCOUNT)
    assert not Payment.objects.exists()


@pytest.mark.parametrize(("after", "is_given"), [(9, True), (10, True), (11, False)])
def test_the_discount_is_for_the_days_of_the_terms(terms, pounds, after, is_given):
    invoice_of(terms, jars(pounds, 10, "6.00"))

    with time_machine.travel(NOON + days(after), tick=False):
        if is_given:
            pay(terms, 5_880, rest=Rest.DISCOUNT)
        else:
            with pytest.raises(BadValue, match="was for payment by"):
                pay(terms, 5_880, rest=Rest.DISCOUNT)
    assert Adjustment.objects.exists() == is_given


def test_a_discount_lowers_the_tax_where_the_house_says_so(terms, pounds, honey_tax):
    """2 % of 63.75 is 1.275, so 1.28, of which the tax is 128 × 375 / 6375 = 7.5, so 8."""
    invoice = invoice_of(terms, jars(pounds, 10, "6.00"))

    pay(terms, 6_375 - 128, rest=Rest.DISCOUNT)

    given = Adjustment.objects.get()
    assert (given.net_cents, given.tax_cents) == (120, 8)
    invoice.refresh_from_db()
    assert invoice.open_cents == 0
    assert list(books.faults()) == []


def test_a_discount_leaves_the_tax_where_the_house_says_so(terms, pounds, honey_tax):
    """2 % of the 60.00 without tax is 1.20."""
    House.objects.update(discount_lowers_tax=False)
    invoice = invoice_of(terms, jars(pounds, 10, "6.00"))

    pay(terms, 6_375 - 120, rest=Rest.DISCOUNT)

    given = Adjustment.objects.get()
    assert (given.net_cents, given.tax_cents, invoice.discount_cents) == (120, 0, 120)


def test_a_payment_that_is_undone_takes_its_discount_along(terms, pounds, owner):
    invoice = invoice_of(terms, jars(pounds, 10, "6.00"))
    payment = pay(terms, 5_880, rest=Rest.DISCOUNT)

    payments.reverse(payment=payment, reversed_by=owner, key="u-1", reason="Bounced")

    invoice.refresh_from_db()
    assert (invoice.open_cents, owed(terms), account("discounts")) == (6_000, 6_000, 0)
    assert list(books.faults()) == []


def test_an_invoice_with_a_discount_can_be_credited_in_full(terms, pounds, owner):
    """What was paid, 58.80, is on account then; the discount is gone."""
    invoice = invoice_of(terms, jars(pounds, 10, "6.00"))
    pay(terms, 5_880, rest=Rest.DISCOUNT)

    credit_notes.credit(invoice=invoice, issued_by=owner, key="c-1", reason="Leaked")

    invoice.refresh_from_db()
    assert (invoice.open_cents, owed(terms)) == (0, -5_880)
    assert payments.on_account_cents(terms) == 5_880
    assert account("discounts") == 0
    assert list(books.faults()) == []


def test_a_corrected_copy_keeps_the_terms_and_the_discount_that_was_taken(terms, pounds, owner):
    """2 % of 10 × 5.00 is 1.00; of the 58.80 paid, 9.80 stays on account."""
    invoice = invoice_of(terms, jars(pounds, 10, "6.00"))
    pay(terms, 5_880, rest=Rest.DISCOUNT)
    terms.discount_percent = Decimal(5)
    terms.save()

    with time_machine.travel(NOON + days(15), tick=False):
        copy = corrected_invoices.correct(
            invoice=invoice,
            issued_by=owner,
            key="k-1",
            reason="Agreed price",
            changes={invoice.lines.get().pk: LineChange(unit_price=Decimal("5.00"))},
        )

    copy.refresh_from_db()
    assert (copy.discount_percent, copy.discount_until) == (Decimal(2), TODAY + days(10))
    assert (copy.total_cents, copy.open_cents, account("discounts")) == (5_000, 0, 100)
    assert (owed(terms), payments.on_account_cents(terms)) == (-980, 980)
    assert list(books.faults()) == []


def test_a_corrected_copy_of_an_unpaid_invoice_gives_no_discount(terms, pounds, owner):
    invoice = invoice_of(terms, jars(pounds, 10, "6.00"))

    copy = corrected_invoices.correct(invoice=invoice, issued_by=owner, key="k-1", reason="Town")

    assert (copy.discount_cents, copy.open_cents, account("discounts")) == (120, 6_000, 0)


def test_a_payment_undone_takes_its_discount_off_the_corrected_copy(terms, pounds, owner):
    invoice = invoice_of(terms, jars(pounds, 10, "6.00"))
    payment = pay(terms, 5_880, rest=Rest.DISCOUNT)
    copy = corrected_invoices.correct(invoice=invoice, issued_by=owner, key="k-1", reason="Town")
    assert (copy.open_cents, account("discounts")) == (0, 120)

    payments.reverse(payment=payment, reversed_by=owner, key="u-1", reason="Bounced")

    copy.refresh_from_db()
    assert (copy.open_cents, owed(terms), account("discounts")) == (6_000, 6_000, 0)
    assert list(books.faults()) == []


def test_what_a_payment_leaves_is_written_off_with_a_reason(shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    with pytest.raises(BadValue, match="Say why"):
        pay(shop, 5_990, rest=Rest.WRITE_OFF)
    pay(shop, 5_990, rest=Rest.WRITE_OFF, rest_reason="Bank took it")

    invoice.refresh_from_db()
    assert invoice.open_cents == 0
    assert Adjustment.objects.get().reason == "Bank took it"


def test_what_was_written_off_was_owed_the_day_before(shop, pounds, owner):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    with time_machine.travel(NOON + days(5), tick=False):
        adjustments.adjust(
            invoice=invoice, kind="bad_debt", cents=6_000, reason="Gone", made_by=owner, key="w"
        )

    before, after = (receivables(AsOf(TODAY + days(number))) for number in (4, 5))

    assert (before.owed_cents, before.aging.total) == (6_000, 6_000)
    assert (after.owed_cents, after.aging.total) == (0, 0)


# ------------------------------------------------------------------ the same payment twice


@pytest.mark.parametrize(("apart", "asks"), [(0, True), (7, True), (8, False)])
def test_the_same_amount_within_a_week_is_asked_about(shop, apart, asks):
    pay(shop, 2_000, received_on=TODAY - days(apart))

    if asks:
        with pytest.raises(LooksLikeAnother, match="Is it the same payment"):
            pay(shop, 2_000, is_another=False)
    else:
        pay(shop, 2_000, is_another=False)
    assert Payment.objects.count() == (1 if asks else 2)


def test_the_same_check_number_is_asked_about_however_long_ago(shop):
    pay(shop, 2_000, received_on=TODAY - days(90), reference="1042")

    with pytest.raises(LooksLikeAnother):
        pay(shop, 3_000, reference="1042", is_another=False)


def test_another_check_of_the_same_amount_is_not_asked_about(shop):
    pay(shop, 2_000, reference="1042")

    pay(shop, 2_000, reference="1043", is_another=False)

    assert Payment.objects.count() == 2


def test_who_says_that_it_is_another_is_believed(shop):
    pay(shop, 2_000)

    pay(shop, 2_000, is_another=True)

    assert owed(shop) == -4_000


# ------------------------------------------------------------------ paid in advance


def test_money_for_an_order_waits_for_its_invoice(shop, pounds):
    other = invoice_of(shop, jars(pounds, 5, "6.00"))
    order = order_of(shop, jars(pounds, 10, "6.00"))

    payment = pay(shop, 2_500, order=order)
    assert not Allocation.objects.exists()
    made = invoices.issue(order=order, issued_by=builders.person(), key="i-1")

    made.refresh_from_db()
    other.refresh_from_db()
    assert (made.open_cents, other.open_cents) == (3_500, 3_000)
    assert payments.put_to(payment) == [(made, 2_500)]
    assert list(books.faults()) == []


def test_money_for_an_order_is_not_used_for_another_invoice(shop, pounds):
    order = order_of(shop, jars(pounds, 10, "6.00"), fill=False)
    payment = pay(shop, 2_500, order=order)
    other = invoice_of(shop, jars(pounds, 5, "6.00"))

    with pytest.raises(payments.NotAllowedNow, match="no money on account"):
        payments.use_on_account(invoice=other)
    payments.free_prepayment(payment=payment)

    assert payments.use_on_account(invoice=other) == 2_500


def test_money_for_the_order_of_somebody_else_is_refused(shop, pounds):
    order = order_of(builders.customer("Harvest Table"), jars(pounds, 1), fill=False)

    with pytest.raises(BadValue, match="not one of this customer's"):
        pay(shop, 2_500, order=order)


# ------------------------------------------------------------------ given back for a credit note


def test_a_credit_note_is_given_back_once(shop, pounds, owner):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    pay(shop, 6_000, method="card")
    pay(shop, 1_000)
    note = credit_notes.credit(invoice=invoice, issued_by=owner, key="c-1", reason="Leaked")

    assert (payments.to_refund_cents(note), payments.paid_by(note)) == (6_000, "card")
    payments.pay_back(
        customer=shop, amount_cents=6_000, method="card", paid_by=owner, key="r", refunds=note
    )
    with pytest.raises(BadValue, match=r"Of credit note C26-00001, \$0.00 is not given back"):
        payments.pay_back(
            customer=shop, amount_cents=1, method="card", paid_by=owner, key="s", refunds=note
        )
    assert (owed(shop), account("card")) == (-1_000, 0)
