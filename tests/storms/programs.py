"""Programs that do the work of a house through the API and send again what got no answer."""

import itertools
import json
import random
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException
from typing import Any

from tests.storms.networks import HERE, Machine

JSON = "application/json"
# How long an act is sent again before its program gives up, in seconds: longer than any restart.
PATIENCE = 60


@dataclass(frozen=True)
class Sent:
    """An act as it was sent and how it was answered."""

    kind: str
    method: str
    path: str
    body: bytes
    content_type: str
    key: str
    status: int
    answer: Any


@dataclass
class House:
    """Where the house is asked, with what right, and what the storm's programs know of it.

    Where several machines serve it, they are asked in turn, so that an act which got no answer is
    sent again to the next one.
    """

    ports: tuple[int, ...]
    authorization: str
    customer: int
    counted_lot: int
    pieces: int
    today: str
    before: dict[str, int]
    # By their ports, where they have networks of their own.
    machines: dict[int, Machine] = field(default_factory=dict)
    _turns: Iterator[int] = field(default_factory=itertools.count)

    def ask(
        self,
        method: str,
        path: str,
        body: bytes = b"",
        content_type: str = JSON,
        key: str = "",
        port: int = 0,
    ) -> tuple[int, Any]:
        """Send a request once, to this machine if one is named; return status and JSON."""
        port = port or self.ports[next(self._turns) % len(self.ports)]
        headers = {"Authorization": self.authorization, "Content-Type": content_type}
        if key:
            headers["Idempotency-Key"] = key
        with closing(self.connection(port)) as connection:
            connection.request(method, f"/api/v1/{path}", body, headers)
            answer = connection.getresponse()
            text = answer.read()
        return answer.status, json.loads(text) if text else None

    def connection(self, port: int) -> HTTPConnection:
        return self.machines.get(port, HERE).ask(port)


class Refused(Exception):
    """An act that should have been done was refused; the message is the answer."""


@dataclass
class Program:
    """One program: it does one act after the other until it is told to stop."""

    house: House
    stop: threading.Event
    chance: random.Random
    done: list[Sent] = field(default_factory=list)
    sent_again: int = 0
    fault: str = ""

    def run(self) -> None:
        try:
            while not self.stop.is_set():
                self.chance.choice(self.acts())()
        except Refused as refusal:
            self.fault = str(refusal)

    def acts(self) -> list[Callable[[], None]]:
        return [self.sell] * 6 + [self.deliver_and_bill] * 3 + [self.bottle] * 2

    def send(self, kind: str, path: str, body: Any = None, method: str = "POST") -> Any:
        """Send an act as JSON until it is answered; return what was answered."""
        return self.send_bytes(kind, path, json.dumps(body or {}).encode(), JSON, method)

    def send_bytes(
        self, kind: str, path: str, body: bytes, content_type: str, method: str = "POST"
    ) -> Any:
        key = f"storm-{uuid.UUID(int=self.chance.getrandbits(128))}"
        until = time.monotonic() + PATIENCE
        while True:
            try:
                status, answer = self.house.ask(method, path, body, content_type, key)
            except (OSError, HTTPException, json.JSONDecodeError):
                status, answer = 0, "no answer"
            if 200 <= status < 300:
                self.done.append(Sent(kind, method, path, body, content_type, key, status, answer))
                return answer
            if (status and status < 500 and status != 429) or time.monotonic() > until:
                raise Refused(f"{method} {path} {body.decode()}: {status} {answer}")
            self.sent_again += 1
            time.sleep(0.1)

    def sell(self) -> None:
        sold = {"product": "storm-pound", "pieces": 2}
        paid = {"method": "cash", "tendered_cents": 5_000}
        body = {"place": "storm-stand", "lines": [sold], "payments": [paid]}
        self.send("sale", "stand-sales/", body)

    def deliver_and_bill(self) -> None:
        """Take an order for three jars, deliver and bill it; get it paid, or credit it."""
        line = {
            "kind": "packed",
            "product": "storm-pound",
            "quantity": 3,
            "unit_price": "7.00",
        }
        body = {"customer": self.house.customer, "channel": "shop", "lines": [line]}
        order = self.send("order", "orders-taken/", body)["number"]
        self.send("hand-over", f"orders/{order}/hand-over/")
        invoice = self.send("invoice", f"orders/{order}/invoice/")
        if self.chance.random() < 0.3:
            path = f"invoices/{invoice['id']}/credit-notes/"
            self.send("credit", path, {"reason": "Lids leak"})
            return
        cents = invoice["total_cents"]
        paid = {"invoice": invoice["id"], "amount_cents": cents}
        body = {
            "customer": self.house.customer,
            "amount_cents": cents,
            "method": "transfer",
            "allocations": [paid],
            "is_another": True,
        }
        self.send("payment", "payments/", body)

    def bottle(self) -> None:
        planned = {
            "product": "storm-pound",
            "source": "storm-tank",
            "target": "storm-stand",
            "pieces": 12,
            "planned_for": self.house.today,
        }
        run = self.send("run", "runs/", planned)["number"]
        filled = {"pieces_filled": 10, "pieces_broken": 2, "bottled_on": self.house.today}
        self.send("recorded run", f"runs/{run}/record/", filled)


class Office(Program):
    """The one program that counts, brings in lists and asks for backups."""

    counted = 0
    lists = 0

    def acts(self) -> list[Callable[[], None]]:
        return [self.count, self.count, self.bring_in, self.back_up, self.sell]

    def count(self) -> None:
        self.counted = self.chance.randrange(1, 1_000_000)
        body = {"lot": self.house.counted_lot, "place": "storm-stand", "counted": self.counted}
        self.send("count", "stock-counts/", body | {"reason": "Storm"})

    def bring_in(self) -> None:
        self.lists += 1
        rows = ["Shop", *(f"Bee Shop {self.lists}.{row}" for row in range(3))]
        boundary = "storm"
        fields = {"kind": "customers", "decimal_sign": ".", "day_order": "mdy"}
        parts = [
            f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
            for name, value in fields.items()
        ]
        parts.append(
            f'--{boundary}\r\nContent-Disposition: form-data; name="file"; filename="list.csv"\r\n'
            "Content-Type: text/csv\r\n\r\n" + "\n".join(rows) + f"\n\r\n--{boundary}--\r\n"
        )
        content_type = f"multipart/form-data; boundary={boundary}"
        begun = self.send_bytes("list", "imports/", "".join(parts).encode(), content_type)
        path = f"imports/{begun['id']}"
        self.send("columns", f"{path}/columns/", {"columns": {"name": 0}}, method="PUT")
        self.send("check", f"{path}/check/")
        self.send("bring in", f"{path}/bring-in/")

    def back_up(self) -> None:
        self.send("backup", "backups/")


def start(house: House, seed: int, count: int) -> Iterator[Program]:
    """Yield so many programs, the first of them the office."""
    for number in range(count):
        make = Program if number else Office
        yield make(house, threading.Event(), random.Random(seed * 1_000 + number))
