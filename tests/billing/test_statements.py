"""How many statements an act takes: they are the same on every machine, and may not grow again."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apiary_sales.billing.services import invoices
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.orders.services import orders
from inventory.stock.models import Posting
from inventory.stock.services import ledger, stores
from tests import builders
from tests.benchmarks.writes import STATEMENTS
from tests.billing.conftest import jars


@pytest.fixture
def acts(pounds, stand, shelf, shop, honey_tax):
    """Return each act of the benchmark, and what is done before it."""
    owner, made = builders.person(), {}

    def sell():
        stand_sales.sell(
            place=stand,
            lines=[jars(pounds, 1, "8.00")],
            payments=builders.paid("cash", 1_000),
            sold_by=owner,
            key=builders.new_key(),
            has_happened=True,
        )

    def take():
        made["order"] = orders.take(
            customer=shop,
            channel="shop",
            lines=[jars(pounds, 2)],
            created_by=owner,
            key=builders.new_key(),
        )

    def hand_over():
        take()
        orders.fulfil(order=made["order"], filled_by=owner, key=builders.new_key())

    def bill():
        invoices.issue(order=made["order"], issued_by=owner, key=builders.new_key())

    def find():
        [made["there"], *_others] = stores.free_at(pounds.item, [shelf])

    def carry():
        there = made["there"]
        ledger.post(
            kind=Posting.Kind.TRANSFER,
            lines=ledger.move(
                item=there.item, lot=there.lot, source=shelf, target=stand, quantity=1
            ),
            recorded_by=owner,
            key=builders.new_key(),
        )

    def nothing():
        pass

    return {
        "a stand sale": (nothing, sell),
        "an order": (nothing, take),
        "an invoice": (hand_over, bill),
        "a posting": (find, carry),
    }


def test_an_act_takes_no_more_statements_than_it_did(acts):
    taken = {}
    for name, (prepare, act) in acts.items():
        # The first one of a year begins its series of numbers.
        for _time in range(2):
            prepare()
            with CaptureQueriesContext(connection) as captured:
                act()
        said = [each["sql"] for each in captured]
        # The test is a transaction itself, so that the act's own one is a savepoint here.
        savepoints = sum(sql.startswith("SAVEPOINT") for sql in said) - 1
        taken[name] = (len(said) - 1, savepoints)

    assert taken.keys() == STATEMENTS.keys()
    # PostgreSQL locks the items by a statement; SQLite has one writer at a time.
    locks = connection.features.has_select_for_update
    for name, (statements, savepoints) in STATEMENTS.items():
        assert taken[name][0] <= statements + locks, name
        assert taken[name][1] <= savepoints, name
