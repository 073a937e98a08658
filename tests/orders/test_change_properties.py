"""However orders are changed, filled, substituted and cancelled, what is to fill is reserved.

The expected figures come from a second, simple book: pieces on hand, counted by hand.
"""

from contextlib import suppress
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apiary_sales.orders.models import Fulfilment, Order, OrderLine
from apiary_sales.orders.queries import books
from apiary_sales.orders.rules.changes import OrderLineChange
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import changes, orders
from inventory.shared.errors import HouseError
from inventory.stock.models import Balance, Place
from inventory.stock.queries import books as stock_books
from tests import builders, data_layer

pytestmark = pytest.mark.django_db

pieces = st.integers(min_value=-1, max_value=24)
number = st.integers(min_value=0, max_value=4)
# Tenths of a cent, so that parts of a cent are shared out.
price = st.integers(min_value=0, max_value=9_999)
discount = st.integers(min_value=0, max_value=120)
acts = st.one_of(
    st.tuples(st.just("take"), pieces, pieces, price),
    st.tuples(st.just("pieces"), number, pieces),
    st.tuples(st.just("price"), number, price, pieces),
    st.tuples(st.just("discount"), number, discount),
    st.tuples(st.just("add"), number, number, pieces),
    st.tuples(st.just("substitute"), number, number, pieces),
    st.tuples(st.just("fill"), number, pieces),
    st.tuples(st.just("cancel"), number),
    st.tuples(st.just("take_back"), number),
)


class Shop:
    """Two products in two lots each, and a count of them kept by hand."""

    def __init__(self) -> None:
        self.person = builders.person()
        self.customer = builders.customer()
        self.products = [builders.product(), builders.product("Two pound", "2")]
        shelf = builders.place("shelf", Place.Kind.SHELF)
        for product in self.products:
            for count in (11, 17):
                builders.packed_lot(product, shelf, count, cost_cents=997)
        self.on_hand = [28, 28]

    def act(self, name: str, *figures: int) -> None:
        # Each act is one transaction, so that what is refused leaves nothing behind.
        with suppress(HouseError), transaction.atomic():
            getattr(self, name)(*figures)

    def line(self, product: int, pieces: int, price: int = 6_500) -> LineWanted:
        return LineWanted(
            "packed", pieces, Decimal(price) / 1000, product=self.products[product % 2]
        )

    def who(self, name: str) -> dict:
        return {name: self.person, "key": builders.new_key()}

    def take(self, first: int, second: int, price: int) -> None:
        lines = [self.line(0, first, price)]
        if second > 0:
            lines.append(self.line(1, second, price))
        orders.take(customer=self.customer, channel="shop", lines=lines, **self.who("created_by"))

    def pieces(self, index: int, pieces: int) -> None:
        self._change(index, quantity=pieces)

    def price(self, index: int, price: int, pieces: int) -> None:
        self._change(
            index,
            unit_price=Decimal(price) / 1000,
            quantity=pieces if pieces > 0 else None,
            price_reason="tried",
        )

    def discount(self, index: int, cents: int) -> None:
        self._change(index, discount_cents=cents, price_reason="tried")

    def _change(self, index: int, **asked) -> None:
        if line := self._nth(OrderLine, index):
            changes.change(
                order=line.order,
                changes=[OrderLineChange(line.pk, **asked)],
                **self.who("changed_by"),
            )

    def add(self, index: int, product: int, pieces: int) -> None:
        if order := self._nth(Order, index):
            changes.change(
                order=order, lines=[self.line(product, pieces)], **self.who("changed_by")
            )

    def substitute(self, index: int, product: int, pieces: int) -> None:
        if line := self._nth(OrderLine, index):
            changes.substitute(
                order=line.order,
                line=line.pk,
                product=self.products[product % 2],
                quantity=pieces,
                reason="tried",
                **self.who("substituted_by"),
            )

    def fill(self, index: int, pieces: int) -> None:
        if line := self._nth(OrderLine, index):
            orders.fulfil(order=line.order, quantities={line.pk: pieces}, **self.who("filled_by"))
            self.on_hand[self.products.index(line.product)] -= pieces

    def cancel(self, index: int) -> None:
        if order := self._nth(Order, index):
            orders.cancel(order=order, reason="tried", **self.who("cancelled_by"))

    def take_back(self, index: int) -> None:
        if fulfilment := self._nth(Fulfilment, index):
            orders.take_back(fulfilment=fulfilment, reason="tried", **self.who("taken_by"))
            for row in fulfilment.lines.all():
                self.on_hand[self.products.index(row.order_line.product)] += row.quantity

    def _nth(self, model, index: int):
        return model.objects.order_by("pk")[index : index + 1].first()


@settings(
    max_examples=data_layer.examples(60),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(acts, max_size=16))
def test_what_is_to_fill_is_reserved_after_any_changes(sequence):
    with transaction.atomic():
        shop = Shop()

        for name, *figures in sequence:
            shop.act(name, *figures)

        assert list(stock_books.faults()) == []
        assert list(books.faults()) == []
        for product, on_hand in zip(shop.products, shop.on_hand, strict=True):
            there = Balance.objects.filter(item=product.item, is_physical=True)
            lines = OrderLine.objects.filter(
                product=product, order__status__in=("open", "part_filled")
            )
            assert sum(balance.quantity for balance in there) == on_hand
            assert sum(balance.reserved for balance in there) == sum(
                line.quantity - line.filled for line in lines
            )
        for order in Order.objects.all():
            # What was handed over is never more than the order comes to, nor changed by a change.
            given_cents = sum(
                row.amount_cents
                for fulfilment in order.fulfilments.filter(is_taken_back=False)
                for row in fulfilment.lines.all()
            )
            assert given_cents <= order.total_cents
            if all(line.filled == line.quantity for line in order.lines.all()):
                assert given_cents == order.total_cents
        transaction.set_rollback(True)
