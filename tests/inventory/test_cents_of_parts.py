"""No cent of parts or honey is without a home: it is in jars, on the shelf, or on an account."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apiary_sales.billing import chart_of_accounts as accounts
from apiary_sales.billing.queries import journal
from apiary_sales.billing.queries.journal import Journal, JournalFilters
from inventory.bottling.models import PartReceipt
from inventory.bottling.part_costs import part_book
from inventory.stock.costing import HeapAtAverage
from inventory.stock.services import stores
from tests import builders
from tests.inventory import bottling_room

COMES = st.tuples(st.integers(1, 500), st.integers(0, 99_999))
GOES = st.integers(1, 400)


@given(moves=st.lists(st.one_of(COMES, GOES), max_size=40))
def test_what_came_in_is_what_went_out_and_what_is_left_to_the_cent(moves):
    """Whatever goes out, more than is there too: the last average is made good by what comes."""
    heap, cents, pieces = HeapAtAverage(), 0, 0
    for move in moves:
        if isinstance(move, tuple):
            cents += heap.receive(*move)
            pieces += move[0]
        elif (cost := heap.issue(move)) is not None:
            cents -= cost
            pieces -= move

    # All that is left goes out: then nothing is left, of pieces and of cents.
    if pieces > 0:
        assert heap.issue(pieces) == cents


def test_an_issue_costs_the_average_of_what_is_there_then():
    """100 at 1.00, 100 gone, 100 at 2.00: one costs 2.00, not 1.50."""
    heap = HeapAtAverage()
    heap.receive(100, 10_000)
    heap.issue(100)
    heap.receive(100, 20_000)

    assert heap.unit_cents == 200
    assert heap.issue(50) == 10_000


def test_pieces_that_are_found_come_in_at_the_average_and_wait_while_there_is_none():
    heap = HeapAtAverage()
    assert (heap.find(10), heap.unit_cents, heap.issue(2)) == (0, None, None)

    # The 8 that are left take the price of the 4 at 1.00.
    assert heap.receive(4, 400) == 1_200
    assert heap.find(3) == 300
    assert heap.unit_cents == Fraction(100)


@pytest.mark.django_db
def test_parts_received_are_in_jars_on_the_shelf_or_written_off_to_the_cent():
    """Prices of a third of a cent, three runs, a write-off and a count of more between them."""
    room = bottling_room.set_up(pieces=300, cases=40)
    runs = [bottling_room.recorded(room)]
    bottling_room.receive(room.jar, room.shelf, 101, 7_003)
    stores.write_off(
        item=room.jar.item,
        lot=None,
        place=room.shelf,
        pieces=7,
        reason="breakage",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    runs.append(bottling_room.recorded(room))
    bottling_room.receive(room.lid, room.shelf, 37, 1_000)
    bottling_room.receive(room.case, room.shelf, 3, 100)
    runs.append(bottling_room.recorded(room))

    received = sum(PartReceipt.objects.values_list("cost_cents", flat=True))
    in_jars = sum(run.parts_cents for run in runs)
    on_shelf = sum(part_book().value_by().values())
    book = {row.account.key: row.closing_cents for row in Journal(JournalFilters()).trial_balance()}

    assert received == in_jars + on_shelf + book[accounts.LOSSES]
    assert book["stock:part"] == on_shelf
    assert book["not_billed"] == -received
    # 135,000 g of the tank are 675.00 and no part of a cent: no cent is rounded away.
    assert accounts.COSTS_ANEW not in book
    assert accounts.FILLED not in book
    assert list(journal.faults()) == []


@pytest.mark.django_db
def test_the_cents_that_rounding_honey_leaves_are_on_the_account_of_filling():
    """Three draws of 45,000 g at a third of a cent: at most half a cent each."""
    room = bottling_room.set_up(cost_cents=100_001)
    runs = [bottling_room.recorded(room) for _each in range(3)]

    book = {row.account.key: row.closing_cents for row in Journal(JournalFilters()).trial_balance()}

    in_jars = sum(run.honey_cents for run in runs)
    rounded = book.get(accounts.FILLED, 0) + book.get(accounts.COSTS_ANEW, 0)
    assert in_jars + book["stock:honey"] + rounded == 100_001
    assert abs(rounded) <= len(runs)
