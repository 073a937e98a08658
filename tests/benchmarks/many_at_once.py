"""How many sales a second the service takes from several clients at once, and how long each waits.

The service runs as it does in a house, beside the clients and the database. Each client sells
another product at the same stand, one sale after the other, over a connection of its own for each.
Turns with one client and with several alternate, so that what else the machine does falls on both.
"""

import json
import statistics
import tempfile
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date
from http.client import HTTPConnection
from pathlib import Path

from tests import postgresql
from tests.storms import storm
from tests.storms.programs import House

NAME = "many-at-once"
CLIENTS, MANY_CLIENTS = 4, 16
# How many times as many sales several clients make, at least; how many times the median wait the
# longest of a hundred may be, at most.
MORE_SALES, SPREAD = 1.5, 5.0
# Seconds of a turn; a turn of each kind is made so often.
TURN, ROUNDS = 4.0, 4
PIECES = 1_000_000


@dataclass(frozen=True)
class Turn:
    """What clients did in a turn: sales a second, and the seconds that each waited."""

    rate: float
    waits: list[float]


def make() -> None:
    """Put a product for each client on a stand of the house, and print the key of a program."""
    from django.core.management import call_command

    from apiary_sales.customers.models import Customer
    from apiary_sales.pricing.services import prices
    from inventory.stock.models import Place
    from tests import builders

    call_command("migrate", verbosity=0, interactive=False)
    stand = builders.place("busy-stand", Place.Kind.STAND)
    for number in range(MANY_CLIENTS):
        product = builders.product(f"Busy jar {number}", code=f"busy-{number}")
        builders.packed_lot(product, stand, PIECES)
        prices.set_piece(
            product=product,
            tier=Customer.Tier.STAND,
            piece_cents=900,
            valid_from=date(2026, 1, 1),
        )
    print(json.dumps({"authorization": builders.authorization("owner")}))


@contextmanager
def served(vendor: str) -> Iterator[House]:
    """Serve such a house from a database of this kind."""
    with (
        tempfile.TemporaryDirectory(prefix="honey-busy-") as name,
        storm.database_of(vendor, name) as (url, _server),
    ):
        made = storm.asked_of_the_house("make", Path(name), url, __name__)
        service = storm.Service(Path(name), url)
        house = House((service.port,), made["authorization"], 0, 0, PIECES, "", {})
        service.start()
        try:
            storm.wait_for(house, service)
            yield house
        finally:
            service.stop()


def turn(house: House, clients: int, seconds: float = TURN) -> Turn:
    """Let so many clients sell for so long."""
    waits: list[float] = []
    until = time.perf_counter() + seconds

    def sell(number: int) -> None:
        sold = {"product": f"busy-{number}", "pieces": 1}
        paid = {"method": "cash", "tendered_cents": 900}
        body = json.dumps({"place": "busy-stand", "lines": [sold], "payments": [paid]})
        while (began := time.perf_counter()) < until:
            headers = {
                "Authorization": house.authorization,
                "Content-Type": "application/json",
                "Idempotency-Key": str(uuid.uuid4()),
            }
            with closing(HTTPConnection("127.0.0.1", house.ports[0], timeout=120)) as client:
                client.request("POST", "/api/v1/stand-sales/", body, headers)
                answer = client.getresponse()
                text = answer.read()
            if answer.status != 201:
                raise SystemExit(f"A sale was answered {answer.status}: {text.decode()}")
            waits.append(time.perf_counter() - began)

    began = time.perf_counter()
    threads = [threading.Thread(target=sell, args=[number]) for number in range(clients)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return Turn(len(waits) / (time.perf_counter() - began), waits)


def more_sales(vendor: str = "postgresql") -> tuple[float, float]:
    """Return the sales a second of one client and of several, the median of turns by turns."""
    with served(vendor) as house:
        turn(house, CLIENTS)
        turns = [(turn(house, 1), turn(house, CLIENTS)) for _round in range(ROUNDS)]
    one, several = zip(*turns, strict=True)
    return statistics.median(t.rate for t in one), statistics.median(t.rate for t in several)


def waits(vendor: str = "sqlite") -> tuple[float, float]:
    """Return the median and the 99th percentile of the seconds that one of many clients waits."""
    with served(vendor) as house:
        turn(house, MANY_CLIENTS)
        found = turn(house, MANY_CLIENTS, ROUNDS * TURN).waits
    return statistics.median(found), statistics.quantiles(found, n=100)[-1]


def rows() -> Iterator[tuple[str, str, float, float, bool]]:
    """Yield the lines of the table: work, against, ratio, to reach, held."""
    if postgresql.programs() is not None:
        one, several = more_sales()
        against = f"{one:.1f} → {several:.1f} a second"
        work = f"{NAME}: sales of {CLIENTS} clients, PostgreSQL"
        yield work, against, round(several / one, 2), MORE_SALES, several >= MORE_SALES * one
    middle, slow = waits()
    against = f"{middle * 1000:.0f} ms → {slow * 1000:.0f} ms"
    work = f"{NAME}: p99 over p50 of {MANY_CLIENTS} clients, SQLite"
    yield work, against, round(slow / middle, 2), SPREAD, slow <= SPREAD * middle
