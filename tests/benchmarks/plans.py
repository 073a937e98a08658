"""Which statements look through a whole table that grows with the history of a house.

SQLite says how it would carry a statement out. The house is a small one: before it is asked, its
statistics are made those of a house a hundred times as large, since SQLite plans by them alone.
"""

import re
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from django.db import connection

# What gets more with every season, and not only with what a house sells and where.
GROWING = {
    "billing_allocation",
    "billing_entry",
    "billing_entryline",
    "billing_invoice",
    "billing_invoiceline",
    "billing_invoicelinetax",
    "billing_payment",
    "billing_standsale",
    "customers_customer",
    "customers_customerbalance",
    "finding_searchentry",
    "inventory_balance",
    "inventory_bottlingrun",
    "inventory_goodsreceipt",
    "inventory_lot",
    "inventory_lotcost",
    "inventory_lotparent",
    "inventory_measurement",
    "inventory_partreceipt",
    "inventory_posting",
    "inventory_postingline",
    "keeping_rowchange",
    "orders_fulfilment",
    "orders_fulfilmentline",
    "orders_goodsreturn",
    "orders_order",
    "orders_orderevent",
    "orders_orderline",
    "orders_returneddrum",
}
TIMES = 100
# Something of which the small house has so many rows, such as a product, gets more with time.
GETS_MORE = 50
NAMED = re.compile(r'(?:FROM|JOIN) "(\w+)"(?: (?:AS )?"?(\w+)"?)?')
SCAN = re.compile(r"SCAN (\w+)")
SORT = "USE TEMP B-TREE"
PAGE = re.compile(r" LIMIT \d+(?: OFFSET \d+)?$")


class Step(NamedTuple):
    """A step of how SQLite carries a statement out, within another one or within none (0)."""

    number: int
    within: int
    said: str


def as_in_a_large_house() -> None:
    """Let SQLite plan as in a house a hundred times as large."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT rowid, tbl, stat FROM sqlite_stat1")
        for row, table, said in cursor.fetchall():
            if table in GROWING:
                cursor.execute(
                    "UPDATE sqlite_stat1 SET stat = %s WHERE rowid = %s", [_of_more(said), row]
                )
    # SQLite reads its statistics when a database is opened.
    connection.close()


def _of_more(said: str) -> str:
    """Return statistics of one index: how many rows, and how many with the same first columns."""
    rows, *same = said.split()
    more = [str(TIMES * int(each)) if int(each) >= GETS_MORE else each for each in same]
    return " ".join([str(TIMES * int(rows)), *more])


def scanned(statement: str, parameters: Any) -> Iterator[str]:
    """Yield each growing table that a statement looks through from one end to the other.

    A page of a list that is read in the order of an index ends when it is full.
    """
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {statement}", parameters)
        steps = [Step(number, within, said) for number, within, _unused, said in cursor.fetchall()]
    tables = {alias or table: table for table, alias in NAMED.findall(statement)}
    for step in steps:
        found = SCAN.match(step.said)
        table = tables.get(found[1], found[1]) if found else ""
        if table in GROWING and not _is_page(statement, step, steps):
            yield table


def _is_page(statement: str, step: Step, steps: Sequence[Step]) -> bool:
    is_sorted = any(each.said.startswith(SORT) and not each.within for each in steps)
    return not step.within and not is_sorted and bool(PAGE.search(statement))
