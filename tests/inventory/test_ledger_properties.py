"""Whatever happens in the honey house, in whatever order, the laws of the ledger hold.

The expected figures come from a second, simple book: a dictionary of what each vessel holds.
"""

from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.bottling.services import reversals
from inventory.shared.errors import HouseError
from inventory.stock.models import Balance, Item, Lot, Place, Posting
from inventory.stock.queries import books, trace
from inventory.stock.services import drums, honey, ledger
from tests import builders, data_layer

pytestmark = pytest.mark.django_db

VESSELS = ("tank-1", "tank-2", "drum-1", "drum-2")

grams = st.integers(min_value=-1, max_value=900_000)
vessel = st.sampled_from(VESSELS)
acts = st.one_of(
    st.tuples(st.just("receive"), vessel, grams, st.integers(min_value=1000, max_value=3000)),
    st.tuples(st.just("transfer"), vessel, vessel, grams),
    st.tuples(st.just("blend"), vessel, vessel, vessel, grams),
    st.tuples(st.just("fill"), vessel, st.sampled_from(VESSELS[2:]), grams),
    st.tuples(st.just("write_off"), vessel, grams),
    st.tuples(st.just("reserve"), vessel, grams),
    st.tuples(st.just("reverse"), st.integers(min_value=0, max_value=30)),
)


class House:
    """A house with four vessels, its real books, and a plain dictionary beside them."""

    def __init__(self) -> None:
        self.person = builders.person()
        self.places = {
            code: builders.place(
                code, Place.Kind.TANK if "tank" in code else Place.Kind.DRUM, tare_grams=0
            )
            for code in VESSELS
        }
        self.held = dict.fromkeys(VESSELS, 0)
        # What each posting did, so that undoing it can be told of the second book too.
        self.changes: dict[int, dict[str, int]] = {}

    def act(self, name: str, *figures) -> None:
        before = Posting.objects.count()
        try:
            change = getattr(self, name)(*figures)
        except HouseError:
            assert Posting.objects.count() == before
            return
        if change is None:
            return
        posting = Posting.objects.order_by("-pk").first()
        self.changes[posting.pk] = change
        for code, added in change.items():
            self.held[code] += added

    def receive(self, code: str, grams: int, moisture: int) -> dict[str, int]:
        builders.lot_in(self.places[code], grams, moisture_percent=str(Decimal(moisture) / 100))
        return {code: grams}

    def transfer(self, source: str, target: str, grams: int) -> dict[str, int]:
        honey.transfer(
            source=self.places[source],
            target=self.places[target],
            grams=grams,
            recorded_by=self.person,
            key=builders.new_key(),
        )
        return {source: -grams, target: grams}

    def blend(self, first: str, second: str, target: str, grams: int) -> dict[str, int]:
        honey.blend(
            sources=[(self.places[first], grams), (self.places[second], grams // 2)],
            target=self.places[target],
            recorded_by=self.person,
            key=builders.new_key(),
        )
        change = dict.fromkeys((first, second, target), 0)
        change[first] -= grams
        change[second] -= grams // 2
        change[target] += grams + grams // 2
        return change

    def fill(self, tank: str, drum: str, gross: int) -> dict[str, int]:
        net = gross - self.held[drum]
        drums.fill(
            tank=self.places[tank],
            drum=self.places[drum],
            gross_grams=gross,
            recorded_by=self.person,
            key=builders.new_key(),
        )
        return {tank: -net, drum: net}

    def write_off(self, code: str, grams: int) -> dict[str, int]:
        honey.write_off(
            place=self.places[code],
            grams=grams,
            reason=Posting.Kind.SPOILAGE,
            recorded_by=self.person,
            key=builders.new_key(),
        )
        return {code: -grams}

    def reserve(self, code: str, grams: int) -> None:
        there = honey.content(self.places[code])
        if there and grams > 0:
            ledger.reserve([ledger.Hold(there.item, there.place, there.lot, grams)])

    def reverse(self, index: int) -> dict[str, int] | None:
        postings = list(Posting.objects.order_by("pk"))
        if index >= len(postings):
            return None
        posting = postings[index]
        reversals.reverse(posting=posting, recorded_by=self.person, key=builders.new_key())
        return {code: -added for code, added in self.changes[posting.pk].items()}


@settings(
    max_examples=data_layer.examples(60),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(acts, max_size=14))
def test_random_acts_never_break_the_ledger(sequence):
    with transaction.atomic():
        house = House()

        for name, *figures in sequence:
            house.act(name, *figures)

        assert list(books.faults()) == []
        for code, expected in house.held.items():
            there = honey.content(house.places[code])
            assert (there.quantity if there else 0) == expected
        everywhere = Balance.objects.filter(item=Item.objects.honey())
        assert sum(balance.quantity for balance in everywhere) == 0
        for lot in Lot.objects.filter(kind=Lot.Kind.BLEND):
            _check_blend(lot)
        transaction.set_rollback(True)


def _check_blend(lot: Lot) -> None:
    """A blend lies between its parents, and the shares of its origins are all of it."""
    parents = [link.parent for link in lot.parent_links.all()]
    lowest = min(parent.moisture_percent for parent in parents)
    highest = max(parent.moisture_percent for parent in parents)
    assert lowest <= lot.moisture_percent <= highest
    assert sum(origin.share for origin in trace.origins(lot)) == 1
