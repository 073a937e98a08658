"""Where every pound went of a season that is told late, short, wrong and corrected."""

import random

import pytest
from django.db import transaction

from inventory.stock.flow import Band, Form, Leaf
from inventory.stock.models import Lot, Posting, Shortage
from inventory.stock.queries import books
from inventory.stock.queries.flow import FlowBook, Harvest
from inventory.stock.services import shortages
from inventory.stock.views.flow import drawing
from tests import builders
from tests.inventory.test_late_entries import SEASON, House

pytestmark = pytest.mark.django_db

CAME_IN = {"Clover": 400_000, "Basswood": 300_000}


def where(acts) -> dict[tuple[str, Leaf], int]:
    """Return the grams of each floral source at each end, after a season told by these acts."""
    with transaction.atomic():
        house = House()
        for act in acts:
            house.tell(act)
        assert list(books.faults()) == []
        assert not Shortage.objects.open().exists()
        book = FlowBook()
        told = book.of(Harvest())
        assert told.difference == 0
        assert all(row.difference == 0 for row in told.origins)
        # What came in is what was told, whoever told it when.
        assert {lot.floral_source: book.figures_of(lot)[0] for lot in book.origins} == CAME_IN
        check_entries(book)
        found = {
            (lot.floral_source, leaf): grams
            for lot in book.origins
            for leaf, grams in book.figures_of(lot)[1].items()
        }
        transaction.set_rollback(True)
    return found


def check_entries(book: FlowBook) -> None:
    """Every figure has its entries, and no correction stands among them by itself."""
    corrections = set(Posting.objects.filter(kind="correction").values_list("pk", flat=True))
    for row in book.of(Harvest()).bands:
        for form in Form:
            entries = book.entries(Harvest(), [Leaf(form, row.band)])
            assert sum(entry.grams for entry in entries) == row.of(form)
            assert not corrections & {entry.posting for entry in entries}


def assert_close(one: dict, other: dict) -> None:
    # A figure that is not whole may be rounded up or down.
    for key in {*one, *other}:
        assert abs(one.get(key, 0) - other.get(key, 0)) <= 1, key


def test_a_season_told_late_has_its_honey_where_one_told_in_order_has():
    in_order = where(SEASON)
    # By hand: 4,000 g were spoiled on day 7, of a tank with both; clover alone was in drum 1.
    assert sum(in_order[of, Leaf(Form.BULK, Band.SPOILED)] for of in CAME_IN) == 4_000
    assert in_order["Clover", Leaf(Form.BULK, Band.DRUMS)] > 100_000

    for seed in range(2):
        shuffled = list(SEASON)
        random.Random(seed).shuffle(shuffled)
        shuffled.sort(key=lambda act: act[0] in ("carry", "break_jars") or act[-1] is None)

        assert_close(where(shuffled), in_order)


def test_a_season_told_wrong_and_corrected_has_its_honey_where_it_belongs():
    wrong = [
        ("run", 2, "A1", 110, 52_000) if act[:3] == ("run", 2, "A1") else act for act in SEASON
    ]

    assert_close(where([*wrong, ("correct", "A1", 100, 46_000)]), where(SEASON))


def test_what_is_short_is_to_be_settled_and_nothing_is_missing():
    """A run drew 46,000 g on a day when the tank was empty by the books."""
    house = House()
    house.tell(("receive", 0, "tank", "Clover", 30_000))
    house.tell(("run", 2, "A1", 100, 46_000))
    assert Shortage.objects.open().exists()

    told = FlowBook().of(Harvest())

    bands = {row.band: row.grams for row in told.bands}
    assert bands[Band.TO_SETTLE] == -16_000
    assert (told.came_in, told.difference) == (30_000, 0)
    assert bands[Band.STOCK] + bands[Band.OVERFILL_HERE] == 46_000
    assert Lot.objects.get(code="A1").quantity_made == 100

    shortages.settle(
        shortage=Shortage.objects.get(),
        how="count_difference",
        settled_by=house.person,
        key=builders.new_key(),
    )

    settled = FlowBook().of(Harvest())
    bands = {row.band: row.grams for row in settled.bands}
    assert Band.TO_SETTLE not in bands
    assert bands[Band.COUNTS] == -16_000
    assert settled.difference == 0


def test_what_was_found_comes_in_from_the_left_of_the_drawing():
    house = House()
    house.tell(("receive", 0, "tank", "Clover", 30_000))
    house.tell(("run", 2, "A1", 100, 46_000))

    drawn = drawing(FlowBook().of(Harvest()))

    assert drawn is not None
    nodes = {each.node.label: each for each in drawn.nodes if each.x < 700}
    # 16,000 g are 35.3 lb; with the 30,000 g that came in, 46,000 g are in jars: 101.4 lb.
    assert nodes["To be settled"].node.words == "35.3 lb"
    assert nodes["To be settled"].x < nodes["In jars and comb"].x
    assert nodes["In jars and comb"].node.words == "101.4 lb"
