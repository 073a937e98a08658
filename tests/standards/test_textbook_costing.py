"""Stock valuation: worked examples of accounting textbooks.

- Perpetual first-in-first-out: 10 @ 91, 15 @ 106, sell 20, 20 @ 115, 10 @ 119, sell 23: Wild, Shaw,
  Chiappetta, Fundamental Accounting Principles, chapter on inventories (read on a study site that
  does not name its book; the name is from memory). Moving average of the same data: by hand.
- Periodic: 2,000 @ 6.10, 10,000 @ 5.50, 6,000 @ 5.00, sold 15,000: read, as a textbook example.
"""

from inventory.stock import costing
from inventory.stock.costing import Issue, Receipt

PERPETUAL = [
    Receipt(10, 10 * 91_00),
    Receipt(15, 15 * 106_00),
    Issue(20),
    Receipt(20, 20 * 115_00),
    Receipt(10, 10 * 119_00),
    Issue(23),
]
PERIODIC = [
    Receipt(2_000, 2_000 * 6_10),
    Receipt(10_000, 10_000 * 5_50),
    Receipt(6_000, 6_000 * 5_00),
    Issue(15_000),
]


def test_perpetual_first_in_first_out():
    found = costing.first_in_first_out(PERPETUAL)

    assert found.issue_costs_cents == (1_970_00, 2_600_00)
    assert (found.left_quantity, found.left_cents) == (12, 1_420_00)


def test_moving_average_of_the_same_data():
    """2,500/25 = 100 each: 20 cost 2,000. Then 500 + 2,300 + 1,190 = 3,990, /35 = 114 each."""
    found = costing.moving_average(PERPETUAL)

    assert found.issue_costs_cents == (2_000_00, 2_622_00)
    assert (found.left_quantity, found.left_cents) == (12, 1_368_00)


def test_periodic_first_in_first_out():
    found = costing.first_in_first_out(PERIODIC)

    assert found.issue_costs_cents == (82_200_00,)
    assert (found.left_quantity, found.left_cents) == (3_000, 15_000_00)


def test_periodic_average():
    found = costing.periodic_average(PERIODIC)

    assert found.issue_costs_cents == (81_000_00,)
    assert (found.left_quantity, found.left_cents) == (3_000, 16_200_00)
