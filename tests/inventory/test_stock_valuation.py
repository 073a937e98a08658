"""Stock valuation: no cent is lost or made, and a computation by pandas agrees."""

from fractions import Fraction

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.stock import costing
from inventory.stock.costing import Issue, NotEnoughToIssue, Receipt

cheap = settings(derandomize=True, deadline=None, max_examples=75)
METHODS = [costing.first_in_first_out, costing.moving_average, costing.periodic_average]
by_every_method = pytest.mark.parametrize("value", METHODS)


@st.composite
def histories(draw, most_cents=100_000):
    """Receipts and issues in an order that never asks for more than is there."""
    movements, there = [], 0
    for _ in range(draw(st.integers(1, 12))):
        if there and draw(st.booleans()):
            movements.append(Issue(draw(st.integers(1, there))))
            there -= movements[-1].quantity
        else:
            movements.append(Receipt(draw(st.integers(1, 60)), draw(st.integers(0, most_cents))))
            there += movements[-1].quantity
    return movements


def received(movements):
    return sum(movement.cost_cents for movement in movements if isinstance(movement, Receipt))


@by_every_method
@cheap
@given(movements=histories())
def test_issued_and_left_add_up_to_received_to_the_cent(value, movements):
    found = value(movements)

    assert sum(found.issue_costs_cents) + found.left_cents == received(movements)
    assert found.left_cents >= 0
    assert all(cost >= 0 for cost in found.issue_costs_cents)
    assert len(found.issue_costs_cents) == sum(isinstance(move, Issue) for move in movements)


@by_every_method
@cheap
@given(movements=histories())
def test_stock_that_runs_out_leaves_no_cent_behind(value, movements):
    left = value(movements).left_quantity

    emptied = value([*movements, Issue(left)] if left else movements)

    assert (emptied.left_quantity, emptied.left_cents) == (0, 0)


@by_every_method
def test_three_pieces_for_a_dollar_cost_a_dollar(value):
    found = value([Receipt(3, 100), Issue(1), Issue(1), Issue(1)])

    assert sorted(found.issue_costs_cents) == [33, 33, 34]
    assert found.left_cents == 0


def units_of(movements):
    """One row a unit received, oldest first, each with its exact cost: a frame to slice by hand."""
    receipts = pd.DataFrame(
        [
            (move.quantity, Fraction(move.cost_cents, move.quantity))
            for move in movements
            if isinstance(move, Receipt)
        ],
        columns=["quantity", "unit_cents"],
    )
    units = receipts.loc[receipts.index.repeat(receipts["quantity"])]
    return units.rename_axis("receipt").reset_index()


@cheap
@given(histories())
def test_first_in_first_out_takes_the_oldest_units_of_the_frame(movements):
    frame = units_of(movements)
    quantities = pd.Series([m.quantity for m in movements if isinstance(m, Issue)], dtype="int64")
    ends = quantities.cumsum()

    found = costing.first_in_first_out(movements)

    for end, quantity, cost in zip(ends, quantities, found.issue_costs_cents, strict=True):
        taken = frame.iloc[end - quantity : end]
        assert abs(cost - sum(taken["unit_cents"])) <= taken["receipt"].nunique()


@cheap
@given(st.data())
def test_first_in_first_out_is_exact_where_unit_costs_are_whole_cents(data):
    movements = [
        Receipt(move.quantity, move.quantity * move.cost_cents)
        if isinstance(move, Receipt)
        else move
        for move in data.draw(histories(most_cents=900))
    ]
    rows = units_of(movements)["unit_cents"]
    quantities = pd.Series([m.quantity for m in movements if isinstance(m, Issue)], dtype="int64")
    ends = quantities.cumsum()

    found = costing.first_in_first_out(movements)

    by_frame = [
        sum(rows.iloc[end - quantity : end]) for end, quantity in zip(ends, quantities, strict=True)
    ]
    assert list(found.issue_costs_cents) == by_frame
    assert found.left_cents == sum(rows.iloc[quantities.sum() :])


@cheap
@given(histories())
def test_the_moving_average_follows_the_frame_to_the_half_cent_a_receipt(movements):
    frame = pd.DataFrame(
        {
            "quantity": [m.quantity if isinstance(m, Receipt) else -m.quantity for m in movements],
            "cents": [m.cost_cents if isinstance(m, Receipt) else 0 for m in movements],
        }
    )
    there = frame["quantity"].cumsum()
    # Each issue leaves the share (after / before) of the value: an exact recursion.
    left, costs = Fraction(0), []
    for row, before in zip(frame.itertuples(), there - frame["quantity"], strict=True):
        if row.quantity > 0:
            left += row.cents
        else:
            costs.append(left * Fraction(int(-row.quantity), int(before)))
            left -= costs[-1]

    found = costing.moving_average(movements)

    # Each receipt starts a new average from whole cents, so it may shift the value by half a cent.
    shift = Fraction(int((frame["quantity"] > 0).sum()), 2)
    for exact, cost in zip(costs, found.issue_costs_cents, strict=True):
        assert abs(cost - exact) <= shift + 1
    assert abs(found.left_cents - left) <= shift


@cheap
@given(histories())
def test_the_periodic_average_is_one_price_for_the_whole_period(movements):
    receipts = pd.DataFrame(
        [(m.quantity, m.cost_cents) for m in movements if isinstance(m, Receipt)],
        columns=["quantity", "cents"],
    ).sum()
    price = Fraction(int(receipts["cents"]), int(receipts["quantity"]))

    found = costing.periodic_average(movements)

    issues = [move for move in movements if isinstance(move, Issue)]
    for issue, cost in zip(issues, found.issue_costs_cents, strict=True):
        assert abs(cost - issue.quantity * price) <= 1


@pytest.mark.parametrize("value", [costing.first_in_first_out, costing.moving_average])
def test_what_has_not_come_in_yet_cannot_go_out(value):
    with pytest.raises(NotEnoughToIssue) as refused:
        value([Receipt(10, 1000), Issue(4), Issue(7), Receipt(10, 1000)])

    assert str(refused.value) == "Not enough stock: 7 wanted, 6 there."
    assert (refused.value.wanted, refused.value.there) == (7, 6)


def test_a_period_may_issue_before_it_receives_but_not_more():
    early = costing.periodic_average([Issue(7), Receipt(10, 1000)])

    assert early.issue_costs_cents == (700,)
    with pytest.raises(NotEnoughToIssue, match="11 wanted, 10 there"):
        costing.periodic_average([Issue(11), Receipt(10, 1000)])


@by_every_method
def test_a_thousand_single_jars_do_not_drift_from_their_average(value):
    """1,000 jars for 2,503.00: 250.3 cents each, so any 400 of them cost 1,001.20."""
    found = value([Receipt(1000, 250_300), *[Issue(1)] * 400])

    assert sum(found.issue_costs_cents) == 100_120
    assert set(found.issue_costs_cents) == {250, 251}


@by_every_method
def test_nothing_is_worth_nothing(value):
    assert value([]) == costing.Valuation((), 0, 0)


@pytest.mark.parametrize("quantity", [0, -1, 1.5, "3", None, True])
def test_a_quantity_is_a_whole_number_of_one_or_more(quantity):
    with pytest.raises(ValueError, match="quantity must be a whole number, 1 or more"):
        Issue(quantity)
    with pytest.raises(ValueError, match="quantity must be a whole number, 1 or more"):
        Receipt(quantity, 100)


@pytest.mark.parametrize("cents", [-1, 1.5, "3", None, True])
def test_a_cost_is_whole_cents_and_never_negative(cents):
    with pytest.raises(ValueError, match="cost in cents must be a whole number, 0 or more"):
        Receipt(3, cents)
