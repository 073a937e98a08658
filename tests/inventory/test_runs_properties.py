"""Whatever a run is told, honey and parts balance to the gram and the piece."""

from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.bottling.models import PackagingPart
from inventory.bottling.services import reversals
from inventory.shared.errors import HouseError
from inventory.stock.models import Balance, Item, Lot, Place
from inventory.stock.queries import books
from tests import builders, data_layer
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db

LABELS = [("1", "lb"), ("12", "oz"), ("0.5", "lb"), ("500", "g"), ("2.5", "kg")]


def moved(posting, item, kind: str) -> int:
    lines = posting.lines.filter(item=item, place=Place.objects.outside(kind))
    return sum(lines.values_list("quantity", flat=True))


@settings(
    max_examples=data_layer.examples(25),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    label=st.sampled_from(LABELS),
    filled=st.integers(1, 300),
    broken=st.integers(0, 9),
    per_case=st.integers(1, 24),
    lids=st.integers(1, 3),
    over=st.integers(-30, 30),
    loss=st.integers(0, 3_000),
)
def test_drawn_is_packed_and_lost_and_broken_and_parts_are_what_was_needed(
    room, label, filled, broken, per_case, lids, over, loss
):
    amount, unit = label
    size = room.new_size(amount, unit, per_case=per_case, lids=lids)
    drawn = int(size.declared_grams * (filled + broken)) + loss + over * filled // 10
    tank_before = Balance.objects.in_vessel(room.tank).quantity
    run = bottling_room.plan(room, 1, product=size.standard_product)

    try:
        run = bottling_room.record(
            run,
            pieces_filled=filled,
            pieces_broken=broken,
            drawn_grams=drawn,
            loss_grams=loss,
            figures_are_right=True,
        )
    except HouseError:
        # Too little left for the pieces: refused as a whole.
        assert Balance.objects.in_vessel(room.tank).quantity == tank_before
        assert Lot.objects.filter(product__size=size).count() == 0
        assert list(books.faults()) == []
        return

    bulk = Item.objects.honey()
    packed = moved(run.posting, bulk, Place.Kind.PACKING)
    lost = moved(run.posting, bulk, Place.Kind.FILLING_LOSS)
    spilt = moved(run.posting, bulk, Place.Kind.BROKEN)
    assert packed + lost + spilt == drawn
    assert tank_before - Balance.objects.in_vessel(room.tank).quantity == drawn
    assert lost == loss
    assert abs(spilt - broken * size.declared_grams) <= Decimal("0.5")
    assert run.packed_lot.parent_links.get().grams == packed
    used = {
        line.item.part.kind: line.quantity
        for line in run.posting.lines.filter(item__kind="part", quantity__gt=0)
    }
    assert used == {
        PackagingPart.Kind.JAR: filled + broken,
        PackagingPart.Kind.LID: lids * (filled + broken),
        # Whole cases, for the filled pieces alone.
        PackagingPart.Kind.CASE: (filled + per_case - 1) // per_case,
    }
    assert list(books.faults()) == []

    reversals.reverse(posting=run.posting, recorded_by=builders.person(), key=builders.new_key())
    assert Balance.objects.in_vessel(room.tank).quantity == tank_before
    assert list(books.faults()) == []


@pytest.fixture
def room(db):
    room = bottling_room.set_up(3_000_000, pieces=0, cases=0)

    def new_size(amount: str, unit: str, *, per_case: int, lids: int):
        name = f"{amount} {unit} {builders.new_key()}"
        size = builders.size(name, amount, unit, brimful_ml=Decimal(3_000))
        for kind, quantity, per_pieces in (("jar", 1, 1), ("lid", lids, 1), ("case", 1, per_case)):
            part = builders.part(f"{kind} {name}", kind)
            builders.made_of(size, part, quantity, per_pieces)
            bottling_room.receive(part, room.shelf, 1_000, 100)
        return size

    room.new_size = new_size
    return room
