"""What years of work cost: the time of an act after a long history, over that after a short one.

Run by name, apart from the tests, and read what it prints:

    python -m pytest -s tests/benchmarks/bench_long_history.py

Times are compared within one run only: as ratios they mean the same on every machine. The bounds
leave room for a busy one; what they catch is a read that adds up history.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from time import perf_counter

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.queries import books as money_books
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.queries import books as order_books
from apiary_sales.orders.rules.lines import LineWanted
from inventory.bottling.models import Size
from inventory.bottling.queries import packed_stock as stock_queries
from inventory.stock.models import Lot, Place
from inventory.stock.queries import books as stock_books
from tests import builders

# Two sales a day: some seven weeks, and nearly three years. The short one fills every list's page.
SHORT, LONG = 100, 2_000
BETWEEN_SALES = timedelta(hours=12)
TIMES = 7


@dataclass
class Stand:
    place: Place
    pounds: Size

    def sell(self) -> None:
        line = LineWanted(
            kind=OrderLine.Kind.PACKED,
            quantity=2,
            unit_price=Decimal("9.50"),
            product=self.pounds,
        )
        stand_sales.sell(
            lines=[line],
            place=self.place,
            payments=builders.paid("cash", 2_000),
            sold_by=builders.person("stand"),
            key=builders.new_key(),
        )

    def has_sold(self, first: int, last: int) -> None:
        """Let the sales of so many half days ago have been made."""
        now = timezone.now()
        for number in range(first, last):
            with time_machine.travel(now - number * BETWEEN_SALES, tick=False):
                self.sell()


@pytest.fixture
def stand(db):
    place = builders.place("stand", Place.Kind.STAND, name="Stand")
    pounds = builders.product("One pound")
    lot = builders.packed_lot(pounds, place, 1_000_000)
    Lot.objects.filter(pk=lot.pk).update(made_on=date(2015, 8, 1))
    return Stand(place, pounds)


def seconds(act: Callable[[], object]) -> float:
    """Return the best time of several: the one that the rest of the machine disturbed least."""
    best = float("inf")
    for _time in range(TIMES):
        start = perf_counter()
        act()
        best = min(best, perf_counter() - start)
    return best


def grown(stand: Stand, acts: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Return how many times as long each act takes after the long history as after the short."""
    stand.has_sold(0, SHORT)
    before = {name: seconds(act) for name, act in acts.items()}
    stand.has_sold(SHORT, LONG)
    ratios = {name: seconds(act) / before[name] for name, act in acts.items()}
    for name, ratio in ratios.items():
        print(f"\n{name}: {ratio:.2f} times as long after {LONG} sales as after {SHORT}", end="")
    return ratios


def test_daily_work_does_not_slow_down_with_the_years(stand, client):
    client.force_login(builders.person("owner"))

    ratios = grown(
        stand,
        {
            "a sale": stand.sell,
            "stock by size": lambda: list(stock_queries.sizes()),
            "today": lambda: client.get(reverse("web:today")),
            "the stand page": lambda: client.get(reverse("billing:stand")),
            "the list of postings": lambda: client.get(reverse("inventory:posting_list")),
        },
    )

    assert max(ratios.values()) < 2


def test_proving_the_books_grows_no_faster_than_the_books(stand):
    def prove() -> None:
        assert not [*stock_books.faults(), *order_books.faults(), *money_books.faults()]

    ratios = grown(stand, {"proving the books": prove})

    assert max(ratios.values()) < 1.5 * LONG / SHORT
