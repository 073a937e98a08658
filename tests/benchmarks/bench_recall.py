"""How long a recall from one code takes in a house with 100,000 lots; nothing is asserted.

Run by name, apart from the tests, and read what it prints; on PostgreSQL with DATABASE_URL:

    python -m pytest -s -n 0 tests/benchmarks/bench_recall.py

The house: 500 extractions, 2,500 blends of two of them or of earlier blends, 97,000 packed lots,
each half sold to a customer of its own; and one lot of jars that 20,000 customers bought.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from time import perf_counter

import pytest
from django.db import connection, transaction
from django.urls import reverse

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Fulfilment, FulfilmentLine, Order, OrderLine
from apiary_sales.orders.queries import recall, trace
from inventory.stock.models import Balance, Item, Lot, LotParent, Place, Posting, PostingLine
from inventory.stock.queries.find_lots import find_lots
from tests import builders

EXTRACTIONS, BLENDS, PACKED, BUYERS = 500, 2_500, 97_000, 20_000
GRAMS, PIECES, SOLD, TIMES = 500_000, 48, 24, 3
BLENDED, FILLED = 10_000, 40
NOW = datetime(2026, 8, 1, 12, tzinfo=UTC)
BATCH = 5_000


class Books:
    """The rows of a large house, written in bulk, as the services would write them one by one."""

    def __init__(self) -> None:
        self.person = builders.person()
        self.product = builders.product()
        self.honey = Item.objects.honey()
        self.tank = builders.place("tank-1")
        self.shelf = builders.place("shelf", Place.Kind.SHELF)
        self.harvest, self.packing, self.customers = (
            Place.objects.outside(kind)
            for kind in (Place.Kind.HARVEST, Place.Kind.PACKING, Place.Kind.CUSTOMER)
        )
        self.lines: list[PostingLine] = []
        self.postings: list[Posting] = []

    def post(self, kind: str, *lines: tuple[Item, Place, Lot, int]) -> Posting:
        posting = Posting(
            pk=len(self.postings) + 1,
            kind=kind,
            occurred_at=NOW,
            recorded_at=NOW,
            recorded_by=self.person,
            idempotency_key=f"bulk-{len(self.postings)}",
        )
        self.postings.append(posting)
        self.lines += [
            PostingLine(posting=posting, item=item, place=place, lot=lot, quantity=much)
            for item, place, lot, much in lines
        ]
        return posting

    def lot(self, kind: str, key: int, code: str, made: int) -> Lot:
        return Lot(
            pk=key,
            kind=kind,
            code=code,
            season=2026,
            floral_source="Clover",
            made_on=date(2026, 8, 1),
            moisture_percent=Decimal("17.4"),
            quantity_made=made,
            product=self.product if kind == "packed" else None,
        )

    def make(self) -> None:
        bulk = EXTRACTIONS + BLENDS
        lots = [
            self.lot("extraction", key, f"E{key:06d}", GRAMS) for key in range(1, EXTRACTIONS + 1)
        ]
        lots += [
            self.lot("blend", key, f"B{key:06d}", 2 * BLENDED)
            for key in range(EXTRACTIONS + 1, bulk + 1)
        ]
        lots += [
            self.lot("packed", key, f"L{key:06d}", PIECES if key < bulk + PACKED else BUYERS)
            for key in range(bulk + 1, bulk + PACKED + 1)
        ]
        links = []
        for lot in lots[:EXTRACTIONS]:
            self.post(
                "extraction",
                (self.honey, self.harvest, lot, -GRAMS),
                (self.honey, self.tank, lot, GRAMS),
            )
        for lot in lots[EXTRACTIONS:bulk]:
            # An extraction, and an earlier blend where there is one five steps back.
            others = [lots[lot.pk % EXTRACTIONS]]
            others.append(
                lots[lot.pk - 501] if lot.pk > 2 * EXTRACTIONS else lots[(lot.pk + 7) % EXTRACTIONS]
            )
            links += [LotParent(lot=lot, parent=other, grams=BLENDED) for other in others]
            self.post(
                "blend",
                *((self.honey, self.tank, other, -BLENDED) for other in others),
                (self.honey, self.tank, lot, 2 * BLENDED),
            )
        for lot in lots[bulk:]:
            parent = lots[EXTRACTIONS + lot.pk % BLENDS]
            links.append(LotParent(lot=lot, parent=parent, grams=FILLED))
            self.post(
                "bottling",
                (self.honey, self.tank, parent, -FILLED),
                (self.honey, self.packing, parent, FILLED),
                (self.product.item, self.packing, lot, -lot.quantity_made),
                (self.product.item, self.shelf, lot, lot.quantity_made),
            )
        sales = [(lot, SOLD) for lot in lots[bulk:-1]] + [(lots[-1], 1)] * BUYERS
        sold = [
            self.post(
                "sale",
                (self.product.item, self.shelf, lot, -much),
                (self.product.item, self.customers, lot, much),
            )
            for lot, much in sales
        ]
        create(Lot, lots)
        create(LotParent, links)
        create(Posting, self.postings)
        create(PostingLine, self.lines)
        self._balances(lots, bulk)
        self._orders(sales, sold)

    def _balances(self, lots: list[Lot], bulk: int) -> None:
        # The one tank stands for many here: the law of one lot a vessel is the copied `is_vessel`.
        there: dict[tuple[int, int, int], int] = {}
        for line in self.lines:
            key = (line.item_id, line.place_id, line.lot_id)
            there[key] = there.get(key, 0) + line.quantity
        inside = {self.tank.pk, self.shelf.pk}
        create(
            Balance,
            [
                Balance(
                    item_id=item,
                    place_id=place,
                    lot_id=lot,
                    quantity=much,
                    is_physical=place in inside and much >= 0,
                    is_vessel=False,
                )
                for (item, place, lot), much in there.items()
            ],
        )

    def _orders(self, sales: list[tuple[Lot, int]], sold: list[Posting]) -> None:
        keys = range(1, len(sales) + 1)
        create(Customer, [Customer(pk=key, name=f"Buyer {key:06d}") for key in keys])
        create(
            Order,
            [
                Order(
                    pk=key,
                    number=f"26-{key:06d}",
                    channel="shop",
                    status="filled",
                    customer_id=key,
                    created_by=self.person,
                    idempotency_key=f"order-{key}",
                )
                for key in keys
            ],
        )
        create(
            OrderLine,
            [
                OrderLine(
                    pk=key,
                    order_id=key,
                    kind="packed",
                    product=self.product,
                    description="One pound",
                    quantity=much,
                    filled=much,
                    unit_price=Decimal(6),
                    amount_cents=600 * much,
                )
                for key, (_lot, much) in zip(keys, sales, strict=True)
            ],
        )
        create(
            Fulfilment,
            [
                Fulfilment(
                    pk=key,
                    order_id=key,
                    posting=posting,
                    filled_by=self.person,
                    idempotency_key=f"filled-{key}",
                )
                for key, posting in zip(keys, sold, strict=True)
            ],
        )
        create(
            FulfilmentLine,
            [
                FulfilmentLine(
                    fulfilment_id=key,
                    order_line_id=key,
                    lot=lot,
                    quantity=much,
                    amount_cents=600 * much,
                )
                for key, (lot, much) in zip(keys, sales, strict=True)
            ],
        )


def create(model, rows: list) -> None:
    with transaction.atomic():
        model.objects.bulk_create(rows, batch_size=BATCH)


def best(act: Callable[[], object]) -> float:
    """Return the best time of several: the one that the rest of the machine disturbed least."""
    times = []
    for _time in range(TIMES):
        start = perf_counter()
        act()
        times.append(perf_counter() - start)
    return min(times)


@pytest.mark.django_db
def test_a_recall_from_one_code_among_100_000_lots(client):
    start = perf_counter()
    Books().make()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    print(
        f"\n{connection.vendor}: made {Lot.objects.count()} lots in {perf_counter() - start:.0f} s"
    )
    client.force_login(builders.person())
    for code in (
        "E000001",
        f"B{EXTRACTIONS + 3:06d}",
        "L003001",
        f"L{EXTRACTIONS + BLENDS + PACKED:06d}",
    ):
        [lot] = find_lots(code).meant
        address = reverse("recall:answer", args=[lot.pk])
        acts = {
            "found": lambda code=code: find_lots(code),
            "answered": lambda lot=lot: recall.answer([lot.pk]),
            "its page": lambda address=address: client.get(address),
            "its last page of buyers": lambda address=address: client.get(
                address, {"show": "buyers", "page": "last"}
            ),
            "all its buyers in a file": lambda address=address: sum(
                map(len, client.get(f"{address}recall.csv").streaming_content)
            ),
        }
        answer = recall.answer([lot.pk])
        assert not answer.not_balanced
        print(f"{code}: {len(answer.lots)} lots, {answer.buyers} buyers")
        for name, act in acts.items():
            print(f"  {name}: {best(act):.3f} s")
    print(f"part of a code, found: {best(lambda: find_lots('4567')):.3f} s")
    assert trace.count_buyers([lot.pk]).all == BUYERS
