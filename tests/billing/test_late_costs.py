"""A cost that comes late, in the journal: on the day of the sale, or on the first open day."""

import pytest
import time_machine

from apiary_sales.billing.queries import journal
from apiary_sales.billing.services import closing
from apiary_sales.orders.services import late_costs
from inventory.bottling.services import costs
from tests import builders
from tests.billing.conftest import NOON, TODAY, days, invoice_of, jars
from tests.billing.test_journal import closings

pytestmark = pytest.mark.django_db


@pytest.fixture
def honey():
    """A lot of 100 jars' honey without a cost, of which 10 jars were sold two days ago."""
    with time_machine.travel(NOON - days(2), tick=False):
        lot = builders.lot_in(builders.place("tank-1"), 100_000)
        product = builders.product("One pound", code="one-pound")
        stand = builders.place("stand", "stand", name="Stand")
        builders.packed_lot(product, stand, 100, parent=lot)
        invoice_of(builders.customer(), jars(product, 10, "6.00"))
    return lot


def cost_late(lot, owner):
    costs.set_lot_cost(lot=lot, cost_cents=50_000)
    packed = lot.children.get()
    packed.cost_cents = 30_000
    packed.save()
    return late_costs.cost(recorded_by=owner, key=builders.new_key())


def cost_of_sales(until=None):
    return closings(until=until).get("cost_of_sales", 0)


def test_on_open_days_a_late_cost_counts_on_the_day_of_the_sale(honey, owner):
    """10 of 100 jars that cost 300.00."""
    made = cost_late(honey, owner)

    assert cost_of_sales(TODAY - days(2)) == 3_000
    assert list(journal.faults()) == []

    late_costs.undo(costing=made, recorded_by=owner, key=builders.new_key())
    assert cost_of_sales() == 0
    assert list(journal.faults()) == []


def test_a_closed_month_stays_as_it_was_and_the_late_cost_is_on_the_first_open_day(honey, owner):
    closing.close(until=TODAY - days(1), locked_by=owner, key=builders.new_key())

    made = cost_late(honey, owner)

    assert cost_of_sales(TODAY - days(1)) == 0
    assert cost_of_sales() == 3_000
    assert list(journal.faults()) == []

    late_costs.undo(costing=made, recorded_by=owner, key=builders.new_key())
    assert cost_of_sales() == 0


def test_what_was_known_at_a_moment_leaves_a_later_cost_out(honey, owner):
    with time_machine.travel(NOON + days(1), tick=False):
        made = cost_late(honey, owner)
    with time_machine.travel(NOON + days(3), tick=False):
        late_costs.undo(costing=made, recorded_by=owner, key=builders.new_key())

        known = [
            closings(known_at=NOON + days(after)).get("cost_of_sales", 0) for after in (0, 2, 3)
        ]

    assert known == [0, 3_000, 0]
