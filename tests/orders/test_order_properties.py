"""Whatever is ordered, filled, cancelled and taken back, in whatever order, the books agree.

The expected figures come from a second, simple book: pieces on hand and promised, counted by hand.
"""

from contextlib import suppress
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apiary_sales.orders.models import Fulfilment, FulfilmentLine, Order
from apiary_sales.orders.queries import books
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.shared.errors import HouseError
from inventory.stock.models import Balance, Place
from inventory.stock.queries import books as stock_books
from tests import builders, data_layer

pytestmark = pytest.mark.django_db

PIECES = (7, 20, 13)

pieces = st.integers(min_value=-1, max_value=30)
number = st.integers(min_value=0, max_value=5)
acts = st.one_of(
    st.tuples(st.just("take"), pieces, st.integers(min_value=0, max_value=999)),
    st.tuples(st.just("sell"), pieces),
    st.tuples(st.just("fill"), number, pieces),
    st.tuples(st.just("cancel"), number),
    st.tuples(st.just("take_back"), number),
)


class Shop:
    """One product in three lots on a shelf and a stand, and a count of it kept by hand."""

    def __init__(self) -> None:
        self.person = builders.person()
        self.customer = builders.customer()
        self.jars = builders.product()
        self.shelf = builders.place("shelf", Place.Kind.SHELF)
        self.stand = builders.place("stand", Place.Kind.STAND)
        for count, place in zip(PIECES, (self.shelf, self.stand, self.shelf), strict=True):
            builders.packed_lot(self.jars, place, count, cost_cents=997)
        self.on_hand = sum(PIECES)

    def act(self, name: str, *figures: int) -> None:
        with suppress(HouseError):
            self.on_hand += getattr(self, name)(*figures)

    def line(self, pieces: int, price: int = 650) -> LineWanted:
        return LineWanted("packed", pieces, Decimal(price) / 100, product=self.jars)

    def take(self, pieces: int, price: int) -> int:
        orders.take(
            customer=self.customer,
            channel="shop",
            lines=[self.line(pieces, price)],
            created_by=self.person,
            key=builders.new_key(),
        )
        return 0

    def sell(self, pieces: int) -> int:
        orders.sell_now(
            customer=None,
            lines=[self.line(pieces)],
            place=self.stand,
            created_by=self.person,
            key=builders.new_key(),
        )
        return -pieces

    def fill(self, index: int, pieces: int) -> int:
        order = self._nth(Order, index)
        if order is None:
            return 0
        line = order.lines.get()
        orders.fulfil(
            order=order,
            quantities={line.pk: pieces},
            filled_by=self.person,
            key=builders.new_key(),
        )
        return -pieces

    def cancel(self, index: int) -> int:
        if order := self._nth(Order, index):
            orders.cancel(
                order=order, cancelled_by=self.person, key=builders.new_key(), reason="tried"
            )
        return 0

    def take_back(self, index: int) -> int:
        fulfilment = self._nth(Fulfilment, index)
        if fulfilment is None:
            return 0
        orders.take_back(
            fulfilment=fulfilment, taken_by=self.person, key=builders.new_key(), reason="tried"
        )
        return sum(row.quantity for row in fulfilment.lines.all())

    def _nth(self, model, index: int):
        return model.objects.order_by("pk")[index : index + 1].first()


@settings(
    max_examples=data_layer.examples(60),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(acts, max_size=14))
def test_random_acts_never_break_the_book_of_orders(sequence):
    with transaction.atomic():
        shop = Shop()

        for name, *figures in sequence:
            shop.act(name, *figures)

        assert list(stock_books.faults()) == []
        assert list(books.faults()) == []
        in_house = Balance.objects.filter(item=shop.jars.item, is_physical=True)
        assert sum(balance.quantity for balance in in_house) == shop.on_hand
        open_lines = [
            line
            for order in Order.objects.filter(status__in=("open", "part_filled"))
            for line in order.lines.all()
        ]
        assert sum(balance.reserved for balance in in_house) == sum(
            line.quantity - line.filled for line in open_lines
        )
        for lot in shop.jars.lots.all():
            sold = FulfilmentLine.objects.filter(lot=lot, fulfilment__is_taken_back=False)
            assert sum(row.cost_cents for row in sold) <= 997
        transaction.set_rollback(True)
