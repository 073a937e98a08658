"""What it costs to say where every pound went, after 1,000 postings and after 10,000.

Run by name, apart from the tests, and read what it prints:

    python -m pytest -s -n 0 tests/benchmarks/bench_flow.py

The house: each season 40 extractions are poured into one tank that is never empty, so that every
lot has a little of all that came before; runs fill jars from it, and jars are sold. Times are
compared within one run; the bound leaves room for shares, of which there are more with the years.
"""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from time import perf_counter

import pytest
from django.db import connection
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.stock.flow import Band, Form, Leaf
from inventory.stock.models import Balance, Item, Lot, LotParent, Place, Posting, PostingLine
from inventory.stock.queries.flow import FlowBook, Harvest
from tests import builders

SHORT, LONG = 1_000, 10_000
A_SEASON, RUNS_EACH, SALES_EACH = 40, 3, 4
GRAMS, DRAWN, PIECES = 400_000, 120_000, 250
START = datetime(2016, 7, 1, tzinfo=UTC)


class House:
    """Writes rows as the services would, but many at once."""

    def __init__(self) -> None:
        self.honey = Item.objects.honey()
        self.product = builders.product("One pound")
        self.tank = builders.place("tank-1")
        self.shelf = builders.place("shelf", Place.Kind.SHELF)
        self.harvest = Place.objects.outside(Place.Kind.HARVEST)
        self.packing = Place.objects.outside(Place.Kind.PACKING)
        self.customers = Place.objects.outside(Place.Kind.CUSTOMER)
        self.person = builders.person()
        self.postings = self.rounds = self.in_tank = 0
        self.lot: Lot | None = None

    def post(self, kind: str, *lines: tuple[Item, Place, Lot, int]) -> None:
        posting = Posting.objects.create(
            kind=kind,
            occurred_at=START + timedelta(hours=self.postings),
            recorded_by=self.person,
            idempotency_key=f"bench-{self.postings}",
        )
        self.postings += 1
        PostingLine.objects.bulk_create(
            PostingLine(posting=posting, item=item, place=place, lot=lot, quantity=quantity)
            for item, place, lot, quantity in lines
        )

    def lot_of(self, kind: str, letter: str, made: int, **fields) -> Lot:
        return Lot.objects.create(
            kind=kind,
            code=f"{letter}{self.postings:06d}",
            season=2016 + self.rounds // A_SEASON,
            floral_source="Clover",
            made_on=START.date(),
            moisture_percent=Decimal("17.4"),
            quantity_made=made,
            **fields,
        )

    def extract_and_fill(self) -> None:
        """Pour an extraction on what is in the tank, fill jars from it, and sell them."""
        came = self.lot_of("extraction", "E", GRAMS)
        if self.lot is None:
            lines = [(self.honey, self.tank, came, GRAMS)]
            blend = came
        else:
            blend = self.lot_of("blend", "B", GRAMS + self.in_tank)
            LotParent.objects.create(lot=blend, parent=came, grams=GRAMS)
            LotParent.objects.create(lot=blend, parent=self.lot, grams=self.in_tank)
            lines = [
                (self.honey, self.tank, self.lot, -self.in_tank),
                (self.honey, self.tank, blend, GRAMS + self.in_tank),
            ]
        self.post("extraction", (self.honey, self.harvest, came, -GRAMS), *lines)
        self.in_tank += GRAMS
        self.lot = blend
        for _run in range(RUNS_EACH):
            jars = self.lot_of("packed", "L", PIECES, product=self.product)
            LotParent.objects.create(lot=jars, parent=blend, grams=DRAWN)
            self.post(
                "bottling",
                (self.honey, self.tank, blend, -DRAWN),
                (self.honey, self.packing, blend, DRAWN),
                (self.product.item, self.packing, jars, -PIECES),
                (self.product.item, self.shelf, jars, PIECES),
            )
            self.in_tank -= DRAWN
            for _sale in range(SALES_EACH):
                self.post(
                    "sale",
                    (self.product.item, self.shelf, jars, -50),
                    (self.product.item, self.customers, jars, 50),
                )
        self.rounds += 1

    def has_posted(self, count: int) -> None:
        while self.postings < count:
            self.extract_and_fill()
        self.keep_balances()

    def keep_balances(self) -> None:
        """Write what the lines come to, as the ledger does with every posting."""
        Balance.objects.all().delete()
        places = Place.objects.in_bulk()
        sums = PostingLine.objects.order_by().values_list("item", "place", "lot")
        Balance.objects.bulk_create(
            Balance(
                item_id=item,
                place_id=place,
                lot_id=lot,
                quantity=quantity,
                is_physical=places[place].is_physical,
                is_vessel=places[place].is_vessel,
            )
            for item, place, lot, quantity in sums.annotate(Sum("quantity"))
        )


def seconds(act) -> float:
    best = float("inf")
    for _time in range(3):
        start = perf_counter()
        act()
        best = min(best, perf_counter() - start)
    return best


@pytest.mark.django_db
def test_the_flow_grows_little_faster_than_the_books(client):
    client.force_login(builders.person())
    house = House()
    acts = {
        "all of it": lambda: FlowBook().of(Harvest()),
        "entries of one band": lambda: FlowBook().entries(
            Harvest(season=2016), [Leaf(Form.PIECES, Band.SOLD)]
        ),
        "the page": lambda: client.get(reverse("inventory:honey_flow")),
    }
    house.has_posted(SHORT)
    before = {name: seconds(act) for name, act in acts.items()}

    house.has_posted(LONG)
    after = {name: seconds(act) for name, act in acts.items()}
    with CaptureQueriesContext(connection) as asked:
        told = FlowBook().of(Harvest())

    for name in acts:
        print(
            f"\n{name}: {before[name]:.2f} s after {SHORT}, {after[name]:.2f} s after {LONG}",
            end="",
        )
    assert told.came_in == house.rounds * GRAMS
    assert told.difference == 0
    assert len(asked) == 3
    assert max(after[name] / before[name] for name in acts) < 5 * LONG / SHORT
