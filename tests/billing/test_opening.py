"""The books begin in the middle of a year: what was owed, credits, money, numbers."""

from datetime import date

import pytest
from django.urls import reverse

from apiary_sales.billing.models import EntryLine, Invoice, Payment
from apiary_sales.billing.queries import books, money, statements
from apiary_sales.billing.services import adjustments, opening, payments
from apiary_sales.customers.models import CustomerBalance
from inventory.shared.errors import BadValue, CannotReverse
from inventory.stock.services import numbers
from tests import builders
from tests.billing.conftest import TODAY, days, invoice_of, jars, pay

pytestmark = pytest.mark.django_db

BEGAN = date(2026, 7, 1)


def account(name):
    return sum(EntryLine.objects.filter(account=name).values_list("amount_cents", flat=True))


def owes(shop, number="1187", cents=12_500, key="o-1", **more):
    return opening.owe(
        customer=shop,
        number=number,
        amount_cents=cents,
        issued_on=more.pop("issued_on", date(2026, 5, 20)),
        due_on=more.pop("due_on", date(2026, 6, 19)),
        begins_on=BEGAN,
        recorded_by=builders.person(),
        key=key,
        **more,
    )


def has(shop, cents=4_000, key="o-2"):
    return opening.credit(
        customer=shop,
        amount_cents=cents,
        begins_on=BEGAN,
        reference="C-88",
        recorded_by=builders.person(),
        key=key,
    )


def test_what_was_owed_is_as_old_as_it_is(shop):
    owes(shop)

    account_now = money.account_of(shop, TODAY)
    # Due June 19, 83 days before September 10.
    assert (account_now.owed_cents, account_now.aging.to_90) == (12_500, 12_500)
    statement = statements.statement(shop, BEGAN, TODAY)
    assert [(line.day, str(line.text), line.charge_cents) for line in statement.lines] == [
        (BEGAN, "Opening invoice 1187", 12_500)
    ]
    assert (account("receivable"), account("opening")) == (12_500, -12_500)
    assert list(books.faults()) == []


def test_what_was_owed_is_paid_like_any_invoice(shop):
    opened = owes(shop)

    pay(shop, 12_500)

    opened.refresh_from_db()
    assert opened.open_cents == 0
    assert CustomerBalance.objects.owed_cents(shop) == 0


def test_a_payment_from_before_the_books_begin_is_refused_with_the_way_out(shop):
    opened = owes(shop)

    with pytest.raises(BadValue) as refused:
        pay(shop, 2_500, received_on=BEGAN - days(1))
    assert refused.value.parameter == "received_on"
    assert str(refused.value) == (
        "The books begin on Jul 1, 2026. What was paid before that day is in the opening amounts "
        "already: enter there only what was left to pay, and not this payment."
    )
    pay(shop, 2_500, received_on=BEGAN)

    opened.refresh_from_db()
    assert opened.open_cents == 10_000


def test_an_account_of_money_begins_with_its_own_opening_amount(shop):
    owes(shop)
    drawer = opening.amount(
        account="cash",
        amount_cents=20_000,
        begins_on=BEGAN + days(9),
        recorded_by=builders.person(),
        key="o-3",
    )

    with pytest.raises(BadValue, match=r"The books begin on Jul 10, 2026\."):
        pay(shop, 2_500, method="cash", received_on=BEGAN + days(8))
    pay(shop, 2_500, received_on=BEGAN + days(8))
    opening.undo_amount(opening=drawer, undone_by=builders.person(), reason="Of another year")

    pay(shop, 2_500, method="cash", received_on=BEGAN + days(8))


def test_a_house_without_opening_rows_takes_a_payment_of_any_day_of_the_year(shop):
    opened = owes(shop)
    opening.take_back(invoice=opened, taken_by=builders.person(), key="t-1", reason="Paid long ago")

    payment = pay(shop, 2_500, received_on=BEGAN - days(1))

    assert payment.received_on == BEGAN - days(1)


def test_what_was_owed_is_not_billed_this_month(shop):
    opening.owe(
        customer=shop,
        number="1187",
        amount_cents=12_500,
        issued_on=TODAY,
        due_on=TODAY,
        begins_on=TODAY,
        recorded_by=builders.person(),
        key="o-1",
    )
    has(shop)

    month = money.month_of(TODAY)
    assert (month.invoiced_cents, month.received_cents) == (0, 0)
    assert money.month_of(BEGAN).received_cents == 0


def test_the_same_number_is_entered_once(shop):
    owes(shop)

    with pytest.raises(BadValue, match="has an opening invoice 1187 already"):
        owes(shop, key="o-9")


def test_an_opening_invoice_is_older_than_the_books(shop):
    with pytest.raises(BadValue, match="before the books began"):
        owes(shop, issued_on=BEGAN + days(1), due_on=BEGAN + days(31))


def test_an_opening_invoice_is_taken_back(shop):
    opened = owes(shop)

    opening.take_back(
        invoice=opened, taken_by=builders.person(), key="t-1", reason="Another customer's"
    )

    assert (account("receivable"), account("opening")) == (0, 0)
    assert list(books.faults()) == []
    assert owes(shop, key="o-9").open_cents == 12_500


def test_an_opening_invoice_that_was_paid_stays(shop):
    opened = owes(shop)
    pay(shop, 100)

    with pytest.raises(CannotReverse, match="settled already"):
        opening.take_back(invoice=opened, taken_by=builders.person(), key="t-1", reason="x")


def test_an_opening_invoice_is_written_off(shop):
    opened = owes(shop)

    adjustments.adjust(
        invoice=opened,
        kind="bad_debt",
        cents=12_500,
        reason="Closed",
        made_by=builders.person(),
        key="w",
    )

    assert list(books.faults()) == []


def test_an_opening_credit_is_money_on_account(shop, pounds):
    has(shop)
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    payments.use_on_account(invoice=invoice)

    invoice.refresh_from_db()
    assert invoice.open_cents == 2_000
    assert (account("opening"), CustomerBalance.objects.owed_cents(shop)) == (4_000, 2_000)
    assert list(books.faults()) == []


def test_an_opening_credit_is_undone_like_a_payment(shop):
    made = has(shop)

    payments.reverse(payment=made, reversed_by=builders.person(), key="u", reason="Wrong")

    assert (account("opening"), CustomerBalance.objects.owed_cents(shop)) == (0, 0)


def test_nobody_pays_by_opening_amount(shop):
    with pytest.raises(BadValue, match="cash, check, card or bank transfer"):
        pay(shop, 100, method="opening")
    assert not Payment.objects.exists()


@pytest.mark.parametrize(
    ("kind", "cents", "in_book"),
    [("cash", 5_000, 5_000), ("transfer", -200, -200), ("sales_tax", 900, -900)],
)
def test_the_books_begin_with_money(house, kind, cents, in_book):
    made = opening.amount(
        account=kind,
        amount_cents=cents,
        begins_on=BEGAN,
        recorded_by=builders.person(),
        key="m-1",
    )

    assert (account(kind), account("opening")) == (in_book, -in_book)
    opening.undo_amount(opening=made, undone_by=builders.person(), reason="Wrong")
    assert account(kind) == 0


def test_deposits_held_before_the_books_began_are_no_fault(house):
    made = opening.amount(
        account="deposits",
        amount_cents=3_000,
        begins_on=BEGAN,
        recorded_by=builders.person(),
        key="m-1",
    )

    assert account("deposits") == -3_000
    assert list(books.faults()) == []

    opening.undo_amount(opening=made, undone_by=builders.person(), reason="Wrong")
    assert list(books.faults()) == []


def test_an_account_begins_with_one_amount(house):
    entered = {
        "account": "cash",
        "amount_cents": 5_000,
        "begins_on": BEGAN,
        "recorded_by": builders.person(),
    }
    made = opening.amount(**entered, key="m-1")

    with pytest.raises(BadValue, match=r"entered already, with \$50.00") as refused:
        opening.amount(**entered, key="m-2")

    assert refused.value.parameter == "account"
    opening.undo_amount(opening=made, undone_by=entered["recorded_by"], reason="Wrong")
    opening.amount(**entered, key="m-3")
    assert account("cash") == 5_000


def test_what_was_there_at_the_beginning_has_no_receipt_for_a_payment(shop, client, owner):
    made = has(shop)
    client.force_login(owner)

    paper = client.get(reverse("billing:payment_pdf", args=[made.pk]))
    page = client.get(reverse("billing:payment_detail", args=[made.pk]))

    assert paper.status_code == 404
    assert "Receipt as PDF" not in page.content.decode()


@pytest.mark.parametrize(("kind", "cents"), [("cash", -1), ("cash", 0), ("sales", 100)])
def test_what_the_books_cannot_begin_with_is_refused(house, kind, cents):
    with pytest.raises(BadValue):
        opening.amount(
            account=kind,
            amount_cents=cents,
            begins_on=BEGAN,
            recorded_by=builders.person(),
            key="m-1",
        )
    assert not EntryLine.objects.exists()


def test_invoices_go_on_from_the_numbers_before(shop, pounds):
    numbers.begin_at("invoice F26", number=1_188)

    made = invoice_of(shop, jars(pounds, 1))

    assert str(made) == "F26-01188"
    assert list(books.faults()) == []
    with pytest.raises(BadValue, match="goes on with 1189"):
        numbers.begin_at("invoice F26", number=2_000)


@pytest.mark.usefixtures("without_triggers")
def test_a_number_missing_after_the_first_is_found(shop, pounds):
    numbers.begin_at("invoice F26", number=1_188)
    made = invoice_of(shop, jars(pounds, 1))
    Invoice.objects.filter(pk=made.pk).update(number=1_190)

    assert list(books.faults()) == ["Series F26 misses F26-01188, F26-01189."]


@pytest.mark.parametrize("number", [0, -1, 10_000_000])
def test_a_first_number_is_a_number(house, number):
    with pytest.raises(BadValue, match="Enter the first number"):
        numbers.begin_at("invoice F26", number=number)


def test_invoices_of_the_books_before_are_entered_in_any_order(shop):
    owes(shop, "1188", key="o-1", issued_on=date(2026, 6, 1))
    owes(shop, "1187", key="o-2", issued_on=date(2026, 5, 20))

    assert list(books.faults()) == []
