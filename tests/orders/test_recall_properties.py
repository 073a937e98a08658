"""Whatever is mixed, bottled, sold, brought back, broken and counted, a recall balances.

What a lot came to is counted by hand beside the books: pieces and grams that are out, on hand,
and gone otherwise.
"""

from contextlib import suppress
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from apiary_sales.orders.models import Fulfilment
from apiary_sales.orders.queries import recall
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.shared.errors import HouseError
from inventory.stock.models import Balance, Lot, Place
from inventory.stock.queries import books
from inventory.stock.services import honey, stores
from tests import builders, data_layer
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db

grams = st.integers(min_value=1, max_value=90_000)
pieces = st.integers(min_value=1, max_value=40)
number = st.integers(min_value=0, max_value=4)
acts = st.one_of(
    st.tuples(st.just("blend"), grams),
    st.tuples(st.just("pour_back"), grams),
    st.tuples(st.just("spoil_honey"), grams),
    st.tuples(st.just("bottle"), pieces),
    st.tuples(st.just("sell_named"), pieces),
    st.tuples(st.just("sell_unnamed"), pieces),
    st.tuples(st.just("bring_back"), number),
    st.tuples(st.just("break_jars"), pieces, number),
    st.tuples(st.just("count"), pieces, number),
)


class House:
    """Two extractions that may meet, jars filled from them, and what happened counted by hand."""

    def __init__(self) -> None:
        self.room = bottling_room.set_up(100_000)
        self.person = builders.person()
        self.second = builders.place("tank-2", name="Tank 2")
        self.other = builders.lot_in(self.second, 80_000)
        self.customer = builders.customer()
        self.named_out = self.unnamed_out = self.broken = self.found = self.filled = 0
        self.spoiled_grams = 0

    def act(self, name: str, *figures: int) -> None:
        with suppress(HouseError):
            getattr(self, name)(*figures)

    def who(self) -> dict:
        return {"recorded_by": self.person, "key": builders.new_key()}

    def blend(self, grams: int) -> None:
        honey.transfer(source=self.second, target=self.room.tank, grams=grams, **self.who())

    def pour_back(self, grams: int) -> None:
        honey.transfer(source=self.room.tank, target=self.second, grams=grams, **self.who())

    def spoil_honey(self, grams: int) -> None:
        honey.write_off(place=self.room.tank, grams=grams, reason="spoilage", **self.who())
        self.spoiled_grams += grams

    def bottle(self, count: int) -> None:
        drawn = count * 460
        bottling_room.record(
            bottling_room.plan(self.room, count),
            pieces_filled=count,
            pieces_broken=0,
            drawn_grams=drawn,
            loss_grams=count,
        )
        self.filled += count

    def line(self, count: int) -> LineWanted:
        return LineWanted("packed", count, Decimal("6.50"), product=self.room.product)

    def sell_named(self, count: int) -> None:
        order = orders.take(
            customer=self.customer,
            channel="shop",
            lines=[self.line(count)],
            created_by=self.person,
            key=builders.new_key(),
        )
        orders.fulfil(order=order, filled_by=self.person, key=builders.new_key())
        self.named_out += count

    def sell_unnamed(self, count: int) -> None:
        orders.sell_now(
            customer=None,
            lines=[self.line(count)],
            place=self.room.shelf,
            created_by=self.person,
            key=builders.new_key(),
        )
        self.unnamed_out += count

    def bring_back(self, index: int) -> None:
        done = Fulfilment.objects.order_by("pk")[index : index + 1].first()
        if done is None:
            return
        orders.take_back(
            fulfilment=done, taken_by=self.person, key=builders.new_key(), reason="tried"
        )
        back = sum(row.quantity for row in done.lines.all())
        if done.order.customer:
            self.named_out -= back
        else:
            self.unnamed_out -= back

    def jars_there(self, index: int) -> Balance | None:
        jars = Balance.objects.filter(item=self.room.product.item, place__kind=Place.Kind.SHELF)
        return jars.order_by("pk")[index : index + 1].first()

    def break_jars(self, count: int, index: int) -> None:
        if there := self.jars_there(index):
            what = {"item": there.item, "lot": there.lot, "place": there.place}
            stores.write_off(**what, pieces=count, reason="breakage", **self.who())
            self.broken += count

    def count(self, counted: int, index: int) -> None:
        if there := self.jars_there(index):
            what = {"item": there.item, "lot": there.lot, "place": there.place}
            stores.count(**what, counted=counted, reason="counted", **self.who())
            self.found += counted - there.quantity


@settings(
    max_examples=data_layer.examples(40),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(acts, max_size=12))
def test_a_recall_accounts_for_every_gram_and_piece_whatever_happened(sequence):
    with transaction.atomic():
        house = House()

        for name, *figures in sequence:
            house.act(name, *figures)

        roots = [house.room.lot.pk, house.other.pk]
        answer = recall.answer(roots, with_sales=True)
        assert [lot.difference for lot in answer.lots] == [0] * Lot.objects.count()
        assert [lot.came_in for lot in answer.asked] == [100_000, 80_000]
        jars = [lot for lot in answer.lots if not lot.is_weighed]
        bulk = [lot for lot in answer.lots if lot.is_weighed]
        assert sum(lot.came_in for lot in jars) == house.filled
        assert answer.pieces_out == house.named_out + house.unnamed_out
        assert answer.pieces_unnamed == house.unnamed_out
        assert sum(row.still_out for row in answer.sales) == house.named_out
        assert sum(lot.ways_out.get("broken", 0) for lot in jars) == house.broken
        assert sum(lot.ways_out.get("count_difference", 0) for lot in jars) == -house.found
        assert sum(lot.ways_out.get("spoiled", 0) for lot in bulk) == house.spoiled_grams
        in_tanks = Balance.objects.filter(is_vessel=True, quantity__gt=0)
        assert answer.grams_on_hand == sum(balance.quantity for balance in in_tanks)
        assert recall.from_json(answer.as_json()) == answer
        assert list(books.faults()) == []
        transaction.set_rollback(True)
