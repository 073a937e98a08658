"""Whatever is labelled, relabelled, emptied, boxed, unboxed, sold and undone, the books agree.

The expected figures are counted from what each act said it did, not from the balances.
"""

from contextlib import suppress
from fractions import Fraction

import pytest
from django.db import transaction
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.bottling.models import BottlingRun, JarChange
from inventory.bottling.services import gift_boxes, jars, reversals
from inventory.shared.errors import HouseError
from inventory.stock.models import Balance, Lot, Place, Posting
from inventory.stock.queries import books
from tests import builders, data_layer
from tests.inventory import bottling_room, jar_room

pytestmark = pytest.mark.django_db

number = st.integers(min_value=0, max_value=7)
pieces = st.integers(min_value=1, max_value=30)
acts = st.one_of(
    st.tuples(st.just("label"), number, st.booleans(), pieces),
    st.tuples(st.just("empty"), number, pieces, st.booleans()),
    st.tuples(st.just("box"), st.integers(min_value=1, max_value=8)),
    st.tuples(st.just("unbox"), number, st.integers(min_value=1, max_value=8)),
    st.tuples(st.just("sell"), number, pieces),
    st.tuples(st.just("undo"), number),
)


class House:
    """Runs without labels and with them, a candle lot, and acts that pick among what is there.

    Jars with and without a label bear the same code A, so that labelled ones join a run's lot.
    """

    def __init__(self) -> None:
        self.room = jar_room.set_up()
        self.person = builders.person()
        self.candle = jar_room.candles(self.room.shelf)
        self.box_product = jar_room.box(self.room, candle=self.candle.product)
        for code, without in (("A", True), ("A", False), ("B", False)):
            bottling_room.record(
                bottling_room.plan(
                    self.room.room, lot_code=code, pieces=60, without_labels=without
                ),
                pieces_filled=60,
                pieces_broken=0,
                drawn_grams=28_011,
                loss_grams=333,
            )

    def act(self, name: str, *figures: int) -> None:
        with suppress(HouseError), transaction.atomic():
            getattr(self, name)(*figures)

    def by(self) -> dict:
        return {"changed_by": self.person, "key": builders.new_key()}

    def lot(self, index: int, *kinds: str) -> Lot:
        found = list(Lot.objects.filter(product__kind__in=kinds).order_by("pk"))
        return found[index % len(found)] if found else self.candle

    def label(self, index: int, is_branded: bool, count: int) -> None:
        product = self.room.branded if is_branded else self.room.own
        lot = self.lot(index, "honey")
        made = jars.label(
            lot=lot, place=self.room.shelf, product=product, pieces=count, **self.by()
        )
        label_cents = 30 if is_branded else 20
        exact = Fraction(lot.cost_cents * count, lot.quantity_made) + label_cents * count
        assert abs(made.cost_cents - exact) <= 1

    def empty(self, index: int, count: int, all_came_out: bool) -> None:
        lot = self.lot(index, "honey")
        jars.empty(
            lot=lot,
            place=self.room.shelf,
            pieces=count,
            grams=lot.honey_in(count) - (0 if all_came_out else 150),
            vessel=self.room.pail,
            **self.by(),
        )

    def box(self, boxes: int) -> None:
        made = gift_boxes.put_together(
            box=self.box_product, place=self.room.shelf, boxes=boxes, **self.by()
        )
        exact = sum(
            Fraction(row.lot.cost_cents * row.pieces, row.lot.quantity_made)
            for row in made.changed.select_related("lot")
        )
        assert abs(made.cost_cents - exact - 80 * boxes) <= 1

    def unbox(self, index: int, boxes: int) -> None:
        gift_boxes.take_apart(
            lot=self.lot(index, "gift_box"), place=self.room.shelf, boxes=boxes, **self.by()
        )

    def sell(self, index: int, count: int) -> None:
        jar_room.sell(self.lot(index, "honey", "gift_box", "goods"), self.room.shelf, count)

    def undo(self, index: int) -> None:
        found = Posting.objects.filter(reverses=None, reversed_by=None)
        found = found.exclude(kind__in=["sale", "part_receipt", "extraction"])
        if posting := found.order_by("-pk")[index : index + 1].first():
            reversals.reverse(posting=posting, recorded_by=self.person, key=builders.new_key())


def check() -> None:
    assert list(books.faults()) == []
    for lot in Lot.objects.filter(product__isnull=False):
        at = Balance.objects.filter(lot=lot).exclude(place__kind__in=["packing", "supplier"])
        there = at.aggregate(total=Sum("quantity"))["total"] or 0
        standing = JarChange.objects.standing().filter(changed__lot=lot)
        became = sum(
            (-1 if act == "unbox" else 1) * count
            for act, count in standing.values_list("act", "changed__pieces")
        )
        apart = JarChange.objects.standing().filter(lot=lot, act="unbox")
        became += sum(apart.values_list("pieces", flat=True))
        made_by = JarChange.objects.standing().filter(lot=lot, act__in=JarChange.MAKES_PIECES)
        run = BottlingRun.objects.filter(packed_lot=lot).first()
        if run and run.status == "reversed" and not made_by:
            # Its lot keeps the figures of what was undone.
            assert there == became == 0
            continue
        assert lot.quantity_made == there + became, lot
        cents = [change.cost_cents for change in made_by]
        if run and run.status == "recorded":
            cents.append(run.honey_cents + run.parts_cents + run.labour_cents)
        if cents:
            assert lot.cost_cents == sum(cents)
    for lot in Lot.objects.all():
        origins = lot.origins()
        assert sum(origin.share for origin in origins) == 1
        assert all(origin.share > 0 for origin in origins)


@settings(
    max_examples=data_layer.examples(20),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(acts, max_size=14))
def test_random_changes_of_jars_never_break_the_books(sequence):
    with transaction.atomic():
        house = House()

        for each in sequence:
            house.act(*each)

        check()
        # Each example starts with empty books.
        transaction.set_rollback(True)
    assert Place.objects.count() == 0
