"""Whatever happens to honey, every gram of it is somewhere, and each origin has its exact share.

The expected figures are those of a second book, kept by hand; see `flow_house`.
"""

from fractions import Fraction

import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from inventory.stock.flow import Form, Leaf, controlled_rounding, rounded_to
from inventory.stock.models import Place
from inventory.stock.queries import books
from inventory.stock.queries.flow import FlowBook, Harvest
from tests import data_layer
from tests.inventory.flow_house import FlowHouse

number = st.integers(0, 5)
grams = st.integers(1, 40_000)
pieces = st.integers(1, 30)


def told(name: str, *figures):
    return st.tuples(st.just(name), *figures)


acts = st.one_of(
    told("extract", number, grams),
    told("buy", number, st.integers(3, 20_000)),
    told("pour", number, number, grams),
    told("pour", number, number, grams),
    told("lose", number, st.integers(0, 7), st.integers(1, 3_000)),
    told("sell_bulk", number, grams),
    told("reweigh", number, st.integers(-500, 500).filter(bool)),
    told("dip", number, st.integers(-500, 500).filter(bool)),
    told("fill", number, pieces, st.integers(-3, 12), st.integers(0, 3), st.booleans()),
    told("fill", number, pieces, st.integers(-3, 12), st.integers(0, 3), st.booleans()),
    told("cream", number, number, pieces),
    told("harvest_comb", grams),
    told("harvest_squares", pieces),
    told("cut", number, st.integers(1, 20), st.integers(0, 900)),
    told("chunks", number, number, st.integers(1, 20)),
    told("label", number, st.booleans(), pieces),
    told("empty", number, pieces, st.integers(-300, 300)),
    told("box", st.integers(1, 6)),
    told("unbox", number, st.integers(1, 4)),
    told("give", number, st.integers(0, 3), pieces),
    told("count", number, st.integers(-3, 3)),
    told("sell", number, pieces),
    told("came_back", number, pieces),
    told("receive_theirs", grams),
    told("hand_back", grams),
    told("buy_theirs", number, grams),
    told("undo", number),
)

# Each kind of act once, so that none is only refused.
FULL_SEASON = [
    ("extract", 0, 39_999),
    ("buy", 1, 10_001),
    ("pour", 0, 2, 12_345),
    ("pour", 1, 2, 1_234),
    ("pour", 2, 3, 7_777),
    ("lose", 2, 3, 33),
    ("sell_bulk", 2, 500),
    ("reweigh", 2, 41),
    ("dip", 3, -17),
    ("fill", 0, 30, 7, 2, True),
    ("fill", 3, 10, -2, 0, False),
    ("cream", 0, 2, 7),
    ("harvest_comb", 20_000),
    ("harvest_squares", 11),
    ("cut", 0, 9, 700),
    ("chunks", 0, 0, 6),
    ("label", 0, False, 9),
    ("label", 0, True, 5),
    ("box", 4),
    ("unbox", 0, 1),
    ("empty", 0, 3, 100),
    ("give", 0, 1, 2),
    ("count", 0, 2),
    ("sell", 0, 4),
    ("came_back", 0, 1),
    ("receive_theirs", 30_000),
    ("buy_theirs", 0, 9_999),
    ("hand_back", 1_001),
]

# What a scale or a count said stays right when something before it is undone.
WEIGHED_BEFORE_ITS_EXTRACTION_WAS_UNDONE = [
    ("harvest_squares", 14),
    ("reweigh", 0, -86),
    ("fill", 4, 17, -1, 2, False),
    ("box", 5),
    ("pour", 4, 2, 2079),
    ("undo", 0),
    ("pour", 4, 5, 3304),
    ("undo", 5),
]
COUNTED_BEFORE_ITS_RUN_WAS_UNDONE = [("fill", 0, 10, 5, 0, False), ("count", 0, 2), ("undo", 1)]
DIPPED_TWICE_BEFORE_A_POUR_WAS_UNDONE = [
    ("pour", 0, 1, 5_000),
    ("dip", 1, -40),
    ("dip", 1, 30),
    ("undo", 2),
    ("undo", 1),
]
# What a tank lacks once a pour into it is undone, its weight has settled; then that lack changes.
LACKS = [
    ("pour", 0, 1, 1_000),
    ("pour", 0, 1, 1_000),
    ("lose", 1, 0, 1_500),
    ("reweigh", 1, 50),
    ("undo", 3),
]
LACKS_MORE = [*LACKS, ("undo", 5)]
LACKS_NOTHING = [*LACKS, ("undo", 4)]
# A count of other jars settles nothing, so what was broken keeps its run from being undone.
COUNTED_OTHERS = [
    ("fill", 0, 10, 5, 0, False),
    ("fill", 0, 10, 5, 0, False),
    ("give", 0, 0, 4),
    ("count", 1, 2),
    ("undo", 3),
]
ALL_HAPPEN = (
    FULL_SEASON,
    WEIGHED_BEFORE_ITS_EXTRACTION_WAS_UNDONE,
    COUNTED_BEFORE_ITS_RUN_WAS_UNDONE,
    DIPPED_TWICE_BEFORE_A_POUR_WAS_UNDONE,
    LACKS_MORE,
    LACKS_NOTHING,
)


def check(house: FlowHouse) -> None:
    assert list(books.faults()) == []
    came, cells = house.book.expected()
    flow = FlowBook()._flow

    for origin in {*came, *cells, *flow.cells}:
        exact = cells.get(origin, {})
        got = flow.cells.get(origin, {})
        in_grams = sum(flow.came_in.get(origin, {}).values())
        # To the gram, and the whole of it without a gram left over.
        assert abs(in_grams - came.get(origin, 0)) < 1
        assert in_grams == sum(got.values())
        for leaf in {*exact, *got}:
            assert abs(got.get(leaf, 0) - exact.get(leaf, 0)) < Fraction(1_000_001, 1_000_000), leaf
    for leaf in {leaf for row in cells.values() for leaf in row}:
        exact_sum = sum(row.get(leaf, Fraction(0)) for row in cells.values())
        got_sum = sum(row.get(leaf, 0) for row in flow.cells.values())
        # All of an end is within a gram too, and honey in bulk is what the ledger says it is.
        assert abs(got_sum - exact_sum) < Fraction(1_000_001, 1_000_000), leaf
        if exact_sum.denominator == 1:
            assert got_sum == exact_sum


def check_bands_and_entries(book: FlowBook) -> None:
    for harvest in (
        Harvest(),
        Harvest(is_of_others=True),
        *(Harvest(season=season) for season in book.seasons),
        *(Harvest(lot=lot) for lot in book.origins),
    ):
        told = book.of(harvest)
        assert told.difference == 0
        assert all(row.difference == 0 for row in told.origins)
        assert told.came_in == sum(row.came_in for row in told.origins)
        for row in told.bands:
            for form, figure in ((Form.BULK, row.bulk), (Form.PIECES, row.pieces)):
                behind = book.entries(harvest, [Leaf(form, row.band)])
                assert sum(entry.grams for entry in behind) == figure
        for source, figure in told.sources.items():
            assert sum(entry.grams for entry in book.entries(harvest, [source])) == figure
    whole, parts = book.of(Harvest()), [book.of(Harvest(season=each)) for each in book.seasons]
    for row in whole.bands:
        of_parts = [each for part in parts for each in part.bands if each.band == row.band]
        assert row.grams == sum(each.grams for each in of_parts)


@pytest.mark.django_db
@settings(
    max_examples=data_layer.examples(25),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(acts, max_size=25))
@example(FULL_SEASON)
@example(WEIGHED_BEFORE_ITS_EXTRACTION_WAS_UNDONE)
@example(COUNTED_BEFORE_ITS_RUN_WAS_UNDONE)
@example(DIPPED_TWICE_BEFORE_A_POUR_WAS_UNDONE)
@example(LACKS_MORE)
@example(LACKS_NOTHING)
@example(COUNTED_OTHERS)
def test_every_gram_is_somewhere_whatever_happens(sequence):
    with transaction.atomic():
        house = FlowHouse()

        for each in sequence:
            house.act(*each)

        check(house)
        check_bands_and_entries(FlowBook())
        if sequence in ALL_HAPPEN:
            assert house.made == len(sequence)
        if sequence == COUNTED_OTHERS:
            assert house.made == len(sequence) - 1
        # Each example starts with empty books.
        transaction.set_rollback(True)
    assert Place.objects.count() == 0


table = st.dictionaries(
    st.tuples(st.integers(0, 6), st.integers(0, 6)), st.integers(-5_000, 5_000), max_size=40
)


@given(table)
def test_a_table_is_rounded_so_that_rows_and_columns_still_add_up(cells):
    unit = 1_000
    for row in {row for row, _column in cells}:
        cells[row, "rest"] = -sum(amount for (of, _c), amount in cells.items() if of == row)

    rounded = controlled_rounding(cells, unit)

    assert rounded.keys() == cells.keys()
    for place, amount in cells.items():
        assert amount // unit <= rounded[place] <= -(-amount // unit)
    for row in {row for row, _column in cells}:
        assert sum(figure for (of, _c), figure in rounded.items() if of == row) == 0
    for column in {column for _row, column in cells}:
        exact = sum(amount for (_r, of), amount in cells.items() if of == column)
        total = sum(figure for (_r, of), figure in rounded.items() if of == column)
        assert exact // unit <= total <= -(-exact // unit)


@given(st.lists(st.fractions(-1_000, 1_000), min_size=1, max_size=20), st.integers(-30, 30))
def test_figures_are_rounded_to_the_total_that_is_wanted(exact, more):
    total = round(sum(exact)) + more

    assert sum(rounded_to(total, exact)) == total
