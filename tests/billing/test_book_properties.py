"""Whatever is billed, paid, bounced and credited, in whatever order, the book of money holds.

The expected figures come from a second, simple book: what each customer owes, as one number.
"""

from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import credit_notes, payments
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from inventory.shared.errors import HouseError
from inventory.stock.models import Place
from inventory.stock.queries import books as stock_books
from tests import builders, data_layer
from tests.billing.conftest import invoice_of, jars, pay

pytestmark = pytest.mark.django_db

NAMES = ("Corner Grocery", "Harvest Table")

name = st.sampled_from(NAMES)
index = st.integers(min_value=0, max_value=3)
cents = st.integers(min_value=-1, max_value=20_000)
acts = st.one_of(
    st.tuples(st.just("invoice"), name, st.integers(min_value=0, max_value=30), cents),
    st.tuples(st.just("lend_drums"), name, st.integers(min_value=0, max_value=3), cents),
    st.tuples(st.just("drums_back"), index, st.integers(min_value=0, max_value=3)),
    st.tuples(st.just("pay"), name, cents),
    st.tuples(st.just("pay_one"), name, index, cents),
    st.tuples(st.just("pay_back"), name, cents),
    st.tuples(st.just("use_on_account"), index),
    st.tuples(st.just("bounce"), index),
    st.tuples(st.just("credit"), index),
    st.tuples(st.just("sell"), st.none() | name, st.integers(min_value=0, max_value=4), cents),
    st.tuples(st.just("take_back"), index),
)


class Office:
    """An office with two customers, its real book, and a number for each customer beside it."""

    def __init__(self) -> None:
        self.person = builders.person()
        self.stand = builders.place("stand", Place.Kind.STAND)
        self.product = builders.product("One pound")
        builders.packed_lot(self.product, self.stand, 500)
        self.customers = {name: builders.customer(name, credit_limit_cents=None) for name in NAMES}
        self.owed = dict.fromkeys(NAMES, 0)

    def act(self, name: str, *figures) -> None:
        try:
            with transaction.atomic():
                change = getattr(self, name)(*figures)
        except HouseError:
            return
        for customer, added in (change or {}).items():
            if customer is not None:
                self.owed[customer] += added

    def invoice(self, name, pieces, cents):
        line = jars(self.product, pieces, str(cents / 100))
        return {name: invoice_of(self.customers[name], line).total_cents}

    def lend_drums(self, name, drums, cents):
        jar = jars(self.product, 1)
        deposit = LineWanted(OrderLine.Kind.DRUM_DEPOSIT, drums, Decimal(cents) / 100)
        return {name: invoice_of(self.customers[name], jar, deposit).total_cents}

    def drums_back(self, index, drums):
        invoice = self._pick(Invoice.objects.all(), index)
        note = credit_notes.credit_deposit(
            invoice=invoice, drums=drums, issued_by=self.person, key=builders.new_key()
        )
        return {invoice.customer and invoice.customer.name: note.total_cents}

    def pay(self, name, cents):
        pay(self.customers[name], cents)
        return {name: -cents}

    def pay_one(self, name, index, cents):
        invoice = self._pick(Invoice.objects.all(), index)
        pay(self.customers[name], cents, allocations={invoice: cents // 2})
        return {name: -cents}

    def pay_back(self, name, cents):
        payments.pay_back(
            customer=self.customers[name],
            amount_cents=cents,
            method="cash",
            paid_by=self.person,
            key=builders.new_key(),
        )
        return {name: cents}

    def use_on_account(self, index):
        payments.use_on_account(invoice=self._pick(Invoice.objects.all(), index))

    def bounce(self, index):
        payment = self._pick(Payment.objects.all(), index)
        payments.reverse(
            payment=payment, reversed_by=self.person, key=builders.new_key(), reason="Bounced"
        )
        return {payment.customer and payment.customer.name: payment.amount_cents}

    def credit(self, index):
        invoice = self._pick(Invoice.objects.all(), index)
        note = credit_notes.credit(
            invoice=invoice, issued_by=self.person, key=builders.new_key(), reason="Wrong goods"
        )
        return {invoice.customer and invoice.customer.name: note.total_cents}

    def sell(self, name, pieces, cents):
        stand_sales.sell(
            lines=[jars(self.product, pieces, "8.00")],
            place=self.stand,
            payments=builders.paid("cash", cents),
            sold_by=self.person,
            key=builders.new_key(),
            customer=self.customers.get(name),
        )

    def take_back(self, index):
        receipt = self._pick(Invoice.objects.filter(series__startswith="R"), index)
        paid = receipt.stand_sale.payment
        is_paid = paid is not None and not Payment.objects.filter(reverses=paid).exists()
        stand_sales.take_back(
            receipt=receipt, taken_by=self.person, key=builders.new_key(), reason="Leaked"
        )
        # Paid, the money goes back with the jars; after its check bounced, only the bill goes.
        given_back = paid.amount_cents if is_paid else 0
        return {receipt.customer and receipt.customer.name: given_back - receipt.total_cents}

    def _pick(self, rows, index):
        rows = list(rows.order_by("id"))
        if not rows:
            raise HouseError("There is none yet.")
        return rows[index % len(rows)]


@settings(
    max_examples=data_layer.examples(40),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.lists(acts, max_size=20))
def test_no_sequence_of_acts_breaks_the_book(house, sequence):
    with transaction.atomic():
        office = Office()

        for act in sequence:
            office.act(*act)

        assert list(books.faults()) == []
        assert list(stock_books.faults()) == []
        kept = dict(CustomerBalance.objects.values_list("customer__name", "owed_cents"))
        assert {name: kept.get(name, 0) for name in NAMES} == office.owed
        transaction.set_rollback(True)
