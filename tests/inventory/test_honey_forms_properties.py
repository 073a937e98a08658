"""Whatever a creamed or a chunk run is told, what goes in comes out, gram for gram."""

from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.bottling.models import Product
from inventory.bottling.services import reversals
from inventory.shared.errors import HouseError
from inventory.stock.models import Balance, Place
from inventory.stock.queries import books
from tests import builders, data_layer
from tests.inventory import bottling_room, forms_room

pytestmark = pytest.mark.django_db

OUT = (Place.Kind.PACKING, Place.Kind.FILLING_LOSS, Place.Kind.BROKEN)


def went(posting, lot) -> dict[str, int]:
    """Return how much of a lot a posting took to each outside place."""
    lines = posting.lines.filter(lot=lot, place__kind__in=OUT)
    return {line.place.kind: line.quantity for line in lines.select_related("place")}


def state() -> list[tuple[int, int]]:
    there = Balance.objects.filter(is_physical=True, quantity__gt=0)
    return sorted(there.values_list("pk", "quantity"))


@pytest.fixture
def room(db):
    room = bottling_room.set_up(3_000_000, pieces=50_000, cases=5_000)
    room.pail, room.seed = forms_room.seed_in(grams=900_000)
    room.comb = forms_room.comb_at(room.shelf, forms_room.comb_by_weight(), 900_000)
    room.creamed = forms_room.honey_of(room.size, Product.Form.CREAMED)
    room.chunk = forms_room.honey_of(room.size, Product.Form.CHUNK)
    return room


def run_of(room, run, added, told):
    """Record a run, or return None where it is refused as a whole; the books hold either way."""
    before = state()
    try:
        run = forms_room.record(run, figures_are_right=True, **told)
    except HouseError:
        assert state() == before
        return None
    liquid, beside = went(run.posting, room.lot), went(run.posting, added)
    assert sum(liquid.values()) == told["drawn_grams"]
    assert sum(beside.values()) == run.added_grams
    lost = liquid.get("filling_loss", 0) + beside.get("filling_loss", 0)
    assert lost == told["loss_grams"]
    packed = {link.parent: link.grams for link in run.packed_lot.parent_links.all()}
    assert packed == {
        lot: grams.get("packing", 0)
        for lot, grams in ((room.lot, liquid), (added, beside))
        if grams.get("packing")
    }
    spilt = liquid.get("broken", 0) + beside.get("broken", 0)
    assert abs(spilt - told["pieces_broken"] * room.size.declared_grams) <= Decimal("0.5")
    assert list(books.faults()) == []
    reversals.reverse(posting=run.posting, recorded_by=builders.person(), key=builders.new_key())
    assert state() == before
    return run


FIGURES = {
    "filled": st.integers(1, 200),
    "broken": st.integers(0, 9),
    "over": st.integers(-20, 30),
    "loss": st.integers(0, 2_000),
}
QUIETLY = settings(
    max_examples=data_layer.examples(15),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@QUIETLY
@given(percent=st.integers(1, 60), **FIGURES)
def test_the_honey_and_the_seed_of_creamed_jars_balance(room, percent, filled, broken, over, loss):
    all_grams = int(room.size.declared_grams * (filled + broken)) + loss + over * filled // 10
    run = forms_room.plan(
        room,
        room.creamed,
        1,
        seed_source=room.pail,
        seed_percent=Decimal(percent),
        share_is_right=True,
    )

    run_of(
        room,
        run,
        room.seed,
        {
            "pieces_filled": filled,
            "pieces_broken": broken,
            "drawn_grams": all_grams * (100 - percent) // 100,
            "loss_grams": loss,
        },
    )


@QUIETLY
@given(each=st.integers(1, 440), **FIGURES)
def test_the_honey_and_the_comb_of_chunk_jars_balance(room, each, filled, broken, over, loss):
    pieces = filled + broken
    liquid = int(room.size.declared_grams * pieces) - each * pieces + loss + over * filled // 10
    comb = Balance.objects.of_lot_at(room.comb, room.shelf)
    run = forms_room.plan(room, room.chunk, 1, comb=comb, comb_grams_each=each)

    recorded = run_of(
        room,
        run,
        room.comb,
        {
            "pieces_filled": filled,
            "pieces_broken": broken,
            "drawn_grams": max(liquid, 1),
            "loss_grams": loss,
        },
    )

    if recorded:
        assert recorded.added_grams == each * pieces
