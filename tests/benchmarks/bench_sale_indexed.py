"""What keeping the index of "Find anything" costs a sale at the stand, as a ratio within one run.

Run by name, apart from the tests, and read what it prints; on PostgreSQL with DATABASE_URL:

    python -m pytest -s -n 0 tests/benchmarks/bench_sale_indexed.py

Each sale is one transaction of its own in a file with all its writes on the disk. Sales with the
index and without it take turns, beside an index of 100,000 entries.
"""

from statistics import median
from time import perf_counter

import pytest
from django.db import connection

from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.finding.models import SearchEntry
from apiary_sales.finding.services import index
from tests import builders
from tests.billing.conftest import house, jars, pounds, shelf, stand

__all__ = ["house", "pounds", "shelf", "stand"]

TIMES, ENTRIES = 100, 100_000


@pytest.mark.django_db(transaction=True)
def test_what_the_index_costs_a_sale(pounds, stand, monkeypatch):
    SearchEntry.objects.bulk_create(
        (
            SearchEntry(id=number, kind=0, text=f"r26-{number:05d} corner", code=f"r-{number}")
            for number in range(ENTRIES)
        ),
        batch_size=5_000,
    )
    seller = builders.person("stand")
    keep = index._keep

    def sell() -> float:
        start = perf_counter()
        stand_sales.sell(
            place=stand,
            lines=[jars(pounds, 1, "8.00")],
            payments=builders.paid("cash", 1_000),
            sold_by=seller,
            key=builders.new_key(),
            has_happened=True,
        )
        return (perf_counter() - start) * 1000

    taken: dict[str, list[float]] = {"without": [], "with": []}
    for _time in range(TIMES):
        for which, kept in (("without", lambda *_given: None), ("with", keep)):
            monkeypatch.setattr(index, "_keep", kept)
            taken[which].append(sell())

    without, with_index = (median(taken[which][10:]) for which in ("without", "with"))
    print(
        f"\n{connection.vendor}: a sale takes {without:.1f} ms without the index and "
        f"{with_index:.1f} ms with it: ratio {with_index / without:.2f}"
    )
