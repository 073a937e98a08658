"""What an act costs, beside the very same rows written by plain ORM in one transaction.

A copy of a house has a twin. Each act is done in the copy by its service; the rows that it made or
changed are then written to the twin: one row of a table by `save`, several by `bulk_create`, and
what was changed by `update`. The entries of the search follow the rows that are saved, here as
there. Both are timed by turns, and the two houses are the same before each act.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

NAME = "writes"
# How many times the plain rows an act may take, and a longer history than a shorter one.
RATIO, GROWTH = 1.5, 1.3
ROUNDS, WARMING = 30, 5
# The most statements of an act, and the savepoints among them; it begins with BEGIN.
STATEMENTS = {
    "a stand sale": (43, 0),
    "an order": (13, 0),
    "an invoice": (20, 0),
    "a posting": (7, 0),
}
TWIN = "twin"
# Written by what follows each row that is saved.
FOLLOWS = "finding_searchentry"
ROOT = Path(__file__).resolve().parents[2]
WRITTEN = re.compile(r'(INSERT INTO|UPDATE|DELETE FROM) "(\w+)"')


@dataclass(frozen=True)
class Measured:
    """What an act took in one house: milliseconds, and statements of it and of the plain rows."""

    ms: float
    plain_ms: float
    statements: int
    savepoints: int
    plain_statements: int


def measured(url: str, folder: Path) -> dict[str, Measured]:
    """Measure each act in copies of a house, in a process of its own."""
    from tests.benchmarks import visitor

    code = "from tests.benchmarks import writes; writes.answer()"
    with _copies(url, folder) as (copy, twin):
        done = subprocess.run(
            [sys.executable, "manage.py", "shell", "--no-imports", "-c", code],
            cwd=ROOT,
            env={**os.environ, **visitor._settings(copy), "TWIN_URL": twin},
            check=True,
            stdout=subprocess.PIPE,
            text=True,
        )
    return {act: Measured(**figures) for act, figures in json.loads(done.stdout).items()}


@contextmanager
def _copies(url: str, folder: Path) -> Iterator[tuple[str, str]]:
    """Yield the addresses of two copies of a house, which are gone afterwards."""
    kind, _colon, rest = url.partition("://")
    if kind == "sqlite":
        with tempfile.TemporaryDirectory(dir=folder) as made:
            copies = [Path(made) / name for name in ("copy.sqlite3", "twin.sqlite3")]
            for copy in copies:
                shutil.copyfile(f"/{rest.lstrip('/')}", copy)
            yield (f"sqlite:///{copies[0]}", f"sqlite:///{copies[1]}")
        return
    import psycopg

    server, _slash, name = url.rpartition("/")
    names = [f"{name}_copy", f"{name}_twin"]
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        for each in names:
            connection.execute(f'DROP DATABASE IF EXISTS "{each}"')
            connection.execute(f'CREATE DATABASE "{each}" TEMPLATE "{name}"')
        try:
            yield (f"{server}/{names[0]}", f"{server}/{names[1]}")
        finally:
            for each in names:
                connection.execute(f'DROP DATABASE IF EXISTS "{each}"')


def answer() -> None:
    """Print what each act took in the database of the settings, beside its twin."""
    import environ
    from django.conf import settings

    from apiary_sales.keeping.one_state import another_connection
    from tests.benchmarks import house

    details = deepcopy(settings.DATABASES["default"])
    details |= environ.Env.db_url_config(os.environ["TWIN_URL"]) | {"OPTIONS": details["OPTIONS"]}
    with house.at_its_time(), another_connection(TWIN, details):
        print(json.dumps(dict(_measure_all())))


def _measure_all() -> Iterator[tuple[str, dict[str, float]]]:
    house = _House()
    taken: dict[str, list[_Taken]] = {}
    for _round in range(WARMING + ROUNDS):
        for name, prepare, act in house.acts():
            if prepare is not None:
                with _written() as rows:
                    prepare()
                _write_plainly(rows)
            taken.setdefault(name, []).append(_take(act))
    for name, each in taken.items():
        kept = each[WARMING:]
        yield (
            name,
            {
                "ms": median(one.ms for one in kept),
                "plain_ms": median(one.plain_ms for one in kept),
                "statements": max(one.statements for one in kept),
                "savepoints": max(one.savepoints for one in kept),
                "plain_statements": max(one.plain_statements for one in kept),
            },
        )


@dataclass
class _Taken:
    ms: float
    plain_ms: float
    statements: int
    savepoints: int
    plain_statements: int


def _take(act: Callable[[], Any]) -> _Taken:
    with _written() as rows:
        start = perf_counter()
        act()
        ms = 1000 * (perf_counter() - start)
    plain_ms, plain_statements = _write_plainly(rows)
    return _Taken(ms, plain_ms, rows.statements, rows.savepoints, plain_statements)


@dataclass
class _Written:
    """The statements of an act: which tables it wrote, and the rows that it may have changed."""

    statements: int = 0
    savepoints: int = 0
    made: dict[str, None] = field(default_factory=dict)
    changed: dict[str, set[Any]] = field(default_factory=dict)
    deleted: dict[str, None] = field(default_factory=dict)

    def __call__(
        self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any
    ) -> Any:
        self.statements += 1
        self.savepoints += sql.startswith("SAVEPOINT")
        found = WRITTEN.match(sql)
        if found and found[1] == "INSERT INTO":
            self.made[found[2]] = None
            if "ON CONFLICT" in sql and found[2] != FOLLOWS:
                self.changed.setdefault(found[2], set()).update(params)
        elif found and found[1] == "UPDATE":
            _head, _where, condition = sql.rpartition(" WHERE ")
            keys = params[len(params) - condition.count("%s") :]
            self.changed.setdefault(found[2], set()).update(keys)
        elif found:
            self.deleted[found[2]] = None
        return execute(sql, params, many, context)


@contextmanager
def _written() -> Iterator[_Written]:
    from django.db import connection

    rows = _Written()
    with connection.execute_wrapper(rows):
        yield rows


def _write_plainly(rows: _Written) -> tuple[float, int]:
    """Let the twin have the same rows; return the milliseconds and the number of statements."""
    from django.db import connections, transaction

    made = [
        (model, list(_new_rows(model)))
        for model in map(_model_of, rows.made)
        if model._meta.db_table != FOLLOWS
    ]
    changed = [each for table, keys in rows.changed.items() for each in _changes(table, keys)]
    gone = [(model, _gone(model)) for model in map(_model_of, rows.deleted)]

    def write() -> None:
        with transaction.atomic(using=TWIN):
            for model, values in made:
                new = [model(**each) for each in values]
                if len(new) == 1:
                    new[0].save(using=TWIN, force_insert=True)
                else:
                    model._base_manager.using(TWIN).bulk_create(new)
            for model, key, values in changed:
                model._base_manager.using(TWIN).filter(pk=key).update(**values)
            for model, keys in gone:
                if keys:
                    model._base_manager.using(TWIN).filter(pk__in=keys).delete()

    counted = _Written()
    with connections[TWIN].execute_wrapper(counted):
        start = perf_counter()
        write()
        ms = 1000 * (perf_counter() - start)
    return ms, counted.statements


def _model_of(table: str) -> Any:
    from django.apps import apps

    [model] = [each for each in apps.get_models() if each._meta.db_table == table]
    return model


def _new_rows(model: Any) -> Iterator[dict[str, Any]]:
    key = model._meta.pk
    there = model._base_manager.using(TWIN).order_by()
    here = model._base_manager.order_by("pk")
    if key.get_internal_type().endswith("AutoField"):
        last = there.order_by("-pk").values_list("pk", flat=True).first() or 0
        new = here.filter(pk__gt=last)
    else:
        known = set(there.values_list("pk", flat=True))
        keys = set(here.values_list("pk", flat=True)) - known
        new = here.filter(pk__in=keys)
    return iter(new.values())


def _changes(table: str, keys: set[Any]) -> Iterator[tuple[Any, Any, dict[str, Any]]]:
    """Yield the rows among these that are not the same in the twin, with what differs."""
    model = _model_of(table)
    key = model._meta.pk
    keys = {
        each for each in keys if isinstance(each, str) == (key.get_internal_type() == "CharField")
    }
    there = {
        row[key.attname]: row
        for row in model._base_manager.using(TWIN).filter(pk__in=keys).values()
    }
    for row in model._base_manager.filter(pk__in=keys).values():
        before = there.get(row[key.attname])
        if before is not None and before != row:
            differs = {name: value for name, value in row.items() if before[name] != value}
            yield model, row[key.attname], differs


def _gone(model: Any) -> list[Any]:
    here = set(model._base_manager.values_list("pk", flat=True))
    return [
        key
        for key in model._base_manager.using(TWIN).values_list("pk", flat=True)
        if key not in here
    ]


class _House:
    """A house in which the same acts are done again and again."""

    def __init__(self) -> None:
        from apiary_sales.accounts.models import User
        from apiary_sales.customers.models import Customer
        from inventory.bottling.models import Product
        from inventory.stock.models import Place

        self.owner = User.objects.get(role="owner")
        self.seller = User.objects.get(role="stand")
        self.buyer = Customer.objects.get(name="Harrow Lane Grocery")
        self.stand, self.storeroom = (
            Place.objects.get(code=code) for code in ("stand", "storeroom")
        )
        self.product = Product.objects.select_related("item", "size", "brand").get(code="1-lb")
        self.keys = 0
        self.order: Any = None
        self.there: Any = None

    def acts(self) -> Iterator[tuple[str, Callable[[], Any] | None, Callable[[], Any]]]:
        """Yield each act with what is done before it."""
        yield "a stand sale", None, self._sell
        yield "an order", None, self._take
        yield "an invoice", self._hand_over, self._bill
        yield "a posting", self._find, self._carry

    def _key(self) -> str:
        self.keys += 1
        return f"measured-{self.keys}"

    def _jars(self, pieces: int, price: str) -> Any:
        from decimal import Decimal

        from apiary_sales.orders.models import OrderLine
        from apiary_sales.orders.rules.lines import LineWanted

        return LineWanted(
            kind=OrderLine.Kind.PACKED,
            quantity=pieces,
            unit_price=Decimal(price),
            product=self.product,
        )

    def _sell(self) -> Any:
        from apiary_sales.billing.services import stand
        from apiary_sales.billing.services.stand_money import PaymentMade

        return stand.sell(
            place=self.stand,
            lines=[self._jars(1, "8.00")],
            payments=[PaymentMade("cash", tendered_cents=1_000)],
            sold_by=self.seller,
            key=self._key(),
            has_happened=True,
        )

    def _take(self) -> Any:
        from apiary_sales.orders.services import orders

        self.order = orders.take(
            customer=self.buyer,
            channel="shop",
            lines=[self._jars(1, "6.00")],
            created_by=self.owner,
            key=self._key(),
            over_limit=True,
        )
        return self.order

    def _hand_over(self) -> Any:
        from apiary_sales.orders.services import orders

        return orders.fulfil(order=self.order, filled_by=self.owner, key=self._key())

    def _bill(self) -> Any:
        from apiary_sales.billing.services import invoices

        return invoices.issue(order=self.order, issued_by=self.owner, key=self._key())

    def _find(self) -> None:
        from inventory.stock.services import stores

        [self.there, *_others] = stores.free_at(self.product.item, [self.storeroom])

    def _carry(self) -> Any:
        from inventory.stock.models import Posting
        from inventory.stock.services import ledger

        there = self.there
        return ledger.post(
            kind=Posting.Kind.TRANSFER,
            lines=ledger.move(
                item=there.item,
                lot=there.lot,
                source=self.storeroom,
                target=self.stand,
                quantity=1,
            ),
            recorded_by=self.owner,
            key=self._key(),
        )
