"""What SQLite reads of a large house for pages that must not grow with its history.

SQLite plans by what it has counted. `large_house.csv` is what it counted in a house with a million
ledger lines (`python -m tests.benchmarks.house 1m`), so a small house is read by the plans of a
large one. A plan that scans a large table grows with the house.
"""

import csv
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.db.backends.sqlite3.base import SQLiteCursorWrapper

from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import recall
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.bottling.services import reversals
from inventory.stock.models import Lot, Place, Posting
from tests import builders
from tests.inventory.pages import signed_in
from tests.inventory.test_late_entries import House

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(connection.vendor != "sqlite", reason="SQLite tells its plans in words"),
]

COUNTED = Path(__file__).with_name("large_house.csv")
# Tables with so many rows in the large house; few plans are harmed by reading all of a smaller one.
LARGE = 10_000
# Rows that are looked for in the order of an index are few where only the first are asked for. The
# one row that `get` asks for, with a limit of 21, is looked for among all.
FIRST_ROWS = re.compile(r"LIMIT (?!21$)\d+( OFFSET \d+)?$")
SCAN = re.compile(r"SCAN (\w+)(?: USING (?:COVERING )?INDEX (\w+))?")


@pytest.fixture
def large_house() -> Iterator[set[str]]:
    """Let SQLite believe that it counted a large house; return the names of its large tables."""
    with COUNTED.open() as lines:
        counted = list(csv.reader(lines))[1:]
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
        cursor.execute("DELETE FROM sqlite_stat1")
        cursor.executemany("INSERT INTO sqlite_stat1 VALUES (%s, %s, %s)", counted)
        cursor.execute("ANALYZE sqlite_schema")
        yield {table for table, _index, told in counted if int(told.split()[0]) >= LARGE}
        cursor.execute("DELETE FROM sqlite_stat1")
        cursor.execute("ANALYZE sqlite_schema")


@contextmanager
def scans(large: set[str]) -> Iterator[list[str]]:
    """Collect which large tables, or indexes of all their rows, the questions of a block read."""
    found: list[str] = []

    def explain(execute, sql, params, many, context):
        if sql.lstrip().startswith(("SELECT", "WITH")):
            plan = _asked_beside(f"EXPLAIN QUERY PLAN {sql}", params)
            found.extend(
                f"{table} {index}: {sql}"
                for *_at, told in plan
                for table, index in SCAN.findall(told)
                if _table(table, sql) in large
                and not _is_partial(index)
                and not FIRST_ROWS.search(sql)
            )
        return execute(sql, params, many, context)

    with connection.execute_wrapper(explain):
        yield found


def _table(name: str, sql: str) -> str:
    """Return the table that a plan calls by its name or by the alias it has in a question."""
    meant = re.search(rf'"(\w+)" {name}\b', sql)
    return meant[1] if meant else name


def _is_partial(index: str) -> bool:
    if not index:
        return False
    [(made,)] = _asked_beside("SELECT sql FROM sqlite_schema WHERE name = %s", [index])
    return bool(made and " WHERE " in made)


def _asked_beside(sql: str, params: Any) -> list[Any]:
    """Ask without being collected oneself."""
    cursor = connection.connection.cursor(factory=SQLiteCursorWrapper)
    cursor.execute(sql, params or ())
    return cursor.fetchall()


@pytest.mark.parametrize(
    "address",
    [
        "/money/",
        "/money/cash-book/",
        "/money/deposit-slips/",
        "/money/moves/new/",
        "/money/accounts/",
        "/money/closing/",
        "/money/opening/",
        "/money/owed-on/",
        "/money/payments/",
        "/money/payments/new/",
        "/money/deposit-slips/new/",
        "/selling/orders/new/",
        "/stand/",
        "/stand/pickups/",
        "/stand/receipts/",
        "/bottling/parts/",
        "/selling/drums/",
        "/selling/quotes/new/",
        "/set-up/jars/",
        "/honey/cleaning/",
        "/honey/to-settle/",
        "/honey/transfer/",
        "/honey/stock/transfer/",
        "/honey/others/hand-back-jars/",
        "/bottling/products/",
        "/bottling/days/add/",
        "/honey/lots/26-E01/",
        "/honey/postings/?first=2026-07-01&last=2026-07-31",
        "/prices/honey/",
        "/prices/honey/2026/",
        "/reports/money-by-month/",
    ],
)
def test_a_page_reads_no_large_table_whole(large_house, address):
    builders.lot_in(builders.place("tank"), 100_000)
    builders.packed_lot(builders.size(), builders.place("shelf", Place.Kind.SHELF))
    owner = signed_in("owner")

    with scans(large_house) as found:
        assert owner.get(address).status_code == 200

    assert found == []


def test_the_page_of_an_order_reads_no_large_table_whole(large_house):
    product = builders.product()
    builders.packed_lot(product, builders.place("shelf", Place.Kind.SHELF))
    line = LineWanted(
        kind=OrderLine.Kind.PACKED, quantity=2, unit_price=Decimal("6.50"), product=product
    )
    order = orders.take(
        channel=Order.Channel.SHOP,
        lines=[line],
        customer=builders.customer(),
        created_by=builders.person("office"),
        key=builders.new_key(),
    )
    owner = signed_in("owner")

    with scans(large_house) as found:
        assert owner.get(f"/selling/orders/{order.number}/").status_code == 200

    assert found == []


def test_a_recall_of_very_many_lots_reads_no_large_table_whole(large_house):
    lots = Lot.objects.bulk_create(
        Lot(
            kind=Lot.Kind.EXTRACTION,
            code=f"26-E{number:03}",
            season=2026,
            made_on=date(2026, 7, 1),
            moisture_percent=Decimal("17.4"),
        )
        for number in range(700)
    )

    with scans(large_house) as found:
        made = recall.answer([lot.pk for lot in lots])
        assert len(made.lots) == 700
        assert list(made.unnamed[:20]) == []

    assert found == []


def test_late_corrected_and_undone_entries_read_no_large_table_whole(large_house):
    house = House()
    house.receive(0, "settler", "Clover", 400_000)
    house.pour(1, "settler", "tank", 250_000)
    house.run(2, "A1", 100, 46_000)

    with scans(large_house) as found:
        house.pour(1, "settler", "bucket", 20_000)
        house.correct_receipt("Clover", grams=410_000)
        reversals.reverse(
            posting=Posting.objects.filter(kind=Posting.Kind.TRANSFER).latest("pk"),
            recorded_by=house.person,
            key=builders.new_key(),
        )

    assert found == []


def test_a_plan_that_reads_a_large_table_whole_is_seen(large_house):
    with scans(large_house) as found:
        assert list(Lot.objects.filter(note="never written").order_by()) == []

    assert len(found) == 1
