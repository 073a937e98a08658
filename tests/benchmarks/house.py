"""Houses with years of work: 10 thousand, 100 thousand or 1 million ledger lines, in minutes.

    python -m tests.benchmarks.house 1m --sqlite /tmp/1m.sqlite3
    python -m tests.benchmarks.house 1m --postgresql postgres://honey@127.0.0.1:5432/large

A house has the demo's open work of today, the same in every size. Below it are years of the two
weeks of `fortnight.py`. The services tell them once; then SQL copies each row that they made, with
numbers, days, codes and keys of its own, so that whatever a service writes is in each copy. What is
kept beside the rows (stock, debts, search, notes of changes, seals) is made anew, and
`verify_ledger` has to find no fault. Ten thousand lines are the first quarter of `TODAY`'s year;
a larger house reaches back further, at as much work a year.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from time import perf_counter
from typing import Any

SIZES = {"10k": 10_000, "100k": 100_000, "1m": 1_000_000}
# All that is open in a house is so on this day; reading it as of then, see `at_its_time`.
NOW = datetime(2026, 4, 1, 17, tzinfo=UTC)
TODAY = NOW.date()
# What the two weeks make has numbers above this one, so that its copies fit below them.
ABOVE = 100_000_000
# So many lots went into one tank that is never empty, one a fortnight.
ORIGINS_MAX = 703

# Rows of the two weeks that are made anew from others, or are none of the books.
NOT_COPIED = {
    "auditlog_logentry",
    "billing_accountmonth",
    "finding_searchentry",
    "inventory_balance",
    "inventory_counter",
    "inventory_seal",
    "keeping_rowchange",
}
# Columns that number documents: the series of a bill is of a kind and a year.
SERIES = ("billing_invoice", "series", "number")
# Columns with the year of another column.
YEARS = {("inventory_lot", "season"): "made_on"}


@dataclass(frozen=True)
class Copied:
    """A table, and between which numbers its rows are that the two weeks made."""

    table: str
    key: str
    first: int
    last: int

    @property
    def stride(self) -> int:
        return self.last - self.first + 1


def at_its_time() -> Any:
    """Return a block in which the clock goes on from the moment at which the houses are open."""
    import time_machine

    return time_machine.travel(NOW, tick=True)


def tell() -> None:
    """Tell the two weeks and the work of today in the empty database of the settings."""
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    with _unsealed():
        _tell_once()
        _set_bills_apart()
        _open_todays_work()


def grow(lines: int) -> None:
    """Let a house in which all was told have about so many ledger lines."""
    _copy(list(_told_rows()), lines)
    _analyze()


def _unsealed() -> Any:
    """Return a block in which closing months seals nothing: all is sealed at the end, in order."""
    from unittest import mock

    return mock.patch("inventory.stock.services.seals._make_next", return_value=False)


def _say(text: str) -> None:
    print(f"{perf_counter() - STARTED:6.1f} s  {text}", flush=True)


STARTED = perf_counter()


def _tell_once() -> None:
    """Set up the house and tell the two weeks, in numbers of their own."""
    import time_machine

    from apiary_sales.web.demo import more_products, setting_up
    from tests.benchmarks import fortnight

    with time_machine.travel(NOW, tick=False):
        setting_up.set_up(TODAY, lambda line: None)
        more_products.set_up(TODAY, lambda line: None)
        fortnight.set_up()
    _raise_numbers(ABOVE)
    fortnight.tell(TODAY - timedelta(days=fortnight.DAYS))
    _raise_numbers(2 * ABOVE)
    _say("told the two weeks")


def _set_bills_apart() -> None:
    """Keep the bills of the weeks in series of their own: those of the demo begin with 1."""
    from django.db import connection

    from apiary_sales.keeping import triggers

    table, series, _number = SERIES
    with triggers.lifted(), connection.cursor() as cursor:
        cursor.execute(f"UPDATE {table} SET {series} = lower({series})")
        cursor.execute("DELETE FROM inventory_counter WHERE series LIKE 'invoice %'")


def _open_todays_work() -> None:
    import io

    import time_machine
    from django.core.management import call_command

    from apiary_sales.web.management.commands import demo

    demo.Command._write_papers = lambda self: []  # type: ignore[method-assign]
    with time_machine.travel(NOW, tick=False):
        call_command("demo", no_serve=True, short=True, stdout=io.StringIO(), stderr=io.StringIO())
    _say("opened the work of today")


def _models() -> Iterator[Any]:
    from django.apps import apps

    for model in apps.get_models(include_auto_created=True):
        if model._meta.managed and not model._meta.proxy:
            yield model


def _raise_numbers(above: int) -> None:
    """Let each table number its rows above this from now on."""
    from django.db import connection, models

    with connection.cursor() as cursor:
        for model in _models():
            key = model._meta.pk
            if not isinstance(key, models.AutoField | models.BigAutoField):
                continue
            table = model._meta.db_table
            if connection.vendor == "sqlite":
                cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [table])
                cursor.execute("INSERT INTO sqlite_sequence VALUES (%s, %s)", [table, above])
            else:
                cursor.execute(
                    "SELECT setval(pg_get_serial_sequence(%s, %s), %s)", [table, key.column, above]
                )


def _told_rows() -> Iterator[Copied]:
    from django.db import connection, models

    with connection.cursor() as cursor:
        for model in _models():
            table, key = model._meta.db_table, model._meta.pk
            if table in NOT_COPIED or isinstance(key, models.UUIDField | models.CharField):
                continue
            cursor.execute(
                f'SELECT min("{key.column}"), max("{key.column}") FROM {table} '
                f'WHERE "{key.column}" > {ABOVE} AND "{key.column}" <= {2 * ABOVE}'
            )
            first, last = cursor.fetchone()
            if first is not None:
                yield Copied(table, key.column, first, last)


def _copy(copied: list[Copied], lines: int) -> None:
    """Copy the two weeks until there are so many lines, and make anew what is kept beside."""
    from django.db import connection, transaction

    from apiary_sales.keeping import rebuild, triggers
    from apiary_sales.orders.services import drum_register
    from inventory.stock.models import PostingLine
    from inventory.stock.services import seals

    of_weeks = next(each for each in copied if each.table == "inventory_postingline")
    told = PostingLine.objects.filter(pk__range=(of_weeks.first, of_weeks.last)).count()
    times = max(round((lines - PostingLine.objects.count()) / told), 0)
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            for pragma in ("foreign_keys=OFF", "synchronous=OFF", "cache_size=-1000000"):
                cursor.execute(f"PRAGMA {pragma}")
    triggers.lift("default")
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL session_replication_role = replica")
        _list_copies(cursor, copied, times)
        for each in copied:
            _copy_rows(cursor, each, {other.table: other for other in copied})
        _say("copied")
        _number_told_bills(cursor, copied)
        _order_numbers(cursor)
        _copy_notes(cursor, copied)
        with at_its_time():
            _add_origins(min(times, ORIGINS_MAX))
        _keep_stock(cursor)
        _keep_debts(cursor)
        _keep_counters(cursor)
    _say("kept stock, debts and numbers")
    triggers.make("default")
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA foreign_key_check")
            assert not cursor.fetchall()
    rebuild.rebuild()
    drum_register.close_settled()
    _say("made anew what is worked out from the tables")
    with at_its_time():
        seals.make()
    _say(f"sealed; {PostingLine.objects.count():,} lines")


def _list_copies(cursor: Any, copied: list[Copied], times: int) -> None:
    """Make a table of the copies: number, days back, what is added to codes, and of each series."""
    from tests.benchmarks import fortnight

    cursor.execute("CREATE TEMPORARY TABLE copies (k integer, days integer, mark text)")
    cursor.execute(
        "CREATE TEMPORARY TABLE series_of "
        "(k integer, series text, becomes text, added integer, PRIMARY KEY (k, series))"
    )
    rows = [(k, k * fortnight.DAYS, f"-{k}") for k in range(times, -1, -1)]
    # The weeks themselves are there.
    cursor.executemany("INSERT INTO copies VALUES (%s, %s, %s)", rows[:-1])
    table, series, number = SERIES
    bills = next(each for each in copied if each.table == table)
    cursor.execute(
        f"SELECT {series}, min({number}), max({number}) FROM {table} "
        f"WHERE id BETWEEN {bills.first} AND {bills.last} GROUP BY {series}"
    )
    told = cursor.fetchall()
    cursor.execute(f"SELECT {series}, max({number}) FROM {table} GROUP BY {series}")
    last = dict(cursor.fetchall())
    found = []
    for k, days, _mark in rows:
        year = (TODAY - timedelta(days=days + fortnight.DAYS)).strftime("%y")
        for name, first, end in told:
            becomes = name[:1].upper() + year
            begin = last.get(becomes, 0)
            found.append((k, name, becomes, begin - first + 1))
            last[becomes] = begin + end - first + 1
    cursor.executemany("INSERT INTO series_of VALUES (%s, %s, %s, %s)", found)


def _number_told_bills(cursor: Any, copied: list[Copied]) -> None:
    table, series, number = SERIES
    bills = next(each for each in copied if each.table == table)
    of_series = f"FROM series_of s WHERE s.k = 0 AND s.series = {table}.{series}"
    cursor.execute(
        f"UPDATE {table} SET {series} = (SELECT s.becomes {of_series}), "
        f"{number} = {number} + (SELECT s.added {of_series}) "
        f"WHERE id BETWEEN {bills.first} AND {bills.last}"
    )


def _order_numbers(cursor: Any) -> None:
    """Let the numbers of each series follow the days; the demo's own bills were the first."""
    table, series, number = SERIES
    beyond = 100_000_000
    cursor.execute(f"UPDATE {table} SET {number} = {number} + {beyond}")
    cursor.execute(
        f"CREATE TEMPORARY TABLE numbers AS SELECT id, row_number() OVER "
        f"(PARTITION BY {series} ORDER BY issued_on, id) AS given FROM {table}"
    )
    cursor.execute("CREATE UNIQUE INDEX numbers_of ON numbers (id)")
    cursor.execute(
        f"UPDATE {table} SET {number} = (SELECT given FROM numbers n WHERE n.id = {table}.id)"
    )
    cursor.execute("DROP TABLE numbers")


def _copy_rows(cursor: Any, what: Copied, by_table: dict[str, Copied]) -> None:
    model = next(each for each in _models() if each._meta.db_table == what.table)
    columns, values = [], []
    for field in model._meta.local_concrete_fields:
        columns.append(f'"{field.column}"')
        values.append(_copied_value(model, field, what, by_table))
    joined = ""
    if what.table == SERIES[0]:
        joined = f"JOIN series_of s ON s.k = c.k AND s.series = t.{SERIES[1]} "
    cursor.execute(
        f"INSERT INTO {what.table} ({', '.join(columns)}) SELECT {', '.join(values)} "
        f"FROM copies c CROSS JOIN {what.table} t {joined}"
        f'WHERE t."{what.key}" BETWEEN {what.first} AND {what.last} '
        f'ORDER BY c.k DESC, t."{what.key}"'
    )


def _copied_value(model: Any, field: Any, what: Copied, by_table: dict[str, Copied]) -> str:
    """Return what a column of a copy has, as SQL over the row `t` and the copy `c`."""
    from django.db import connection, models

    column = f't."{field.column}"'
    if (what.table, field.column) == (SERIES[0], SERIES[1]):
        return "s.becomes"
    if (what.table, field.column) == (SERIES[0], SERIES[2]):
        return f"{column} + s.added"
    if of_day := YEARS.get((what.table, field.column)):
        moved = _moved(f't."{of_day}"', is_moment=False)
        if connection.vendor == "sqlite":
            return f"CAST(substr({moved}, 1, 4) AS integer)"
        return f"extract(year FROM {moved})::integer"
    if field.is_relation:
        other = by_table.get(field.related_model._meta.db_table)
        return _of_copy(column, other) if other else column
    if field.primary_key:
        return f"{column} - c.k * {what.stride}"
    if isinstance(field, models.DateTimeField):
        return _moved(column, is_moment=True)
    if isinstance(field, models.DateField):
        return _moved(column, is_moment=False)
    if isinstance(field, models.CharField) and _is_one(model, field, by_table):
        return f"CASE WHEN {column} = '' THEN '' ELSE {column} || c.mark END"
    return column


def _of_copy(column: str, other: Copied) -> str:
    """Return the number of the copy of a row, where it is one that is copied."""
    return (
        f"CASE WHEN {column} BETWEEN {other.first} AND {other.last} "
        f"THEN {column} - c.k * {other.stride} ELSE {column} END"
    )


def _moved(column: str, *, is_moment: bool) -> str:
    """Return a day or a moment as many days back as the copy is."""
    from django.db import connection

    if connection.vendor == "sqlite":
        day = f"date(substr({column}, 1, 10), '-' || c.days || ' days')"
        return f"{day} || substr({column}, 11)" if is_moment else day
    return f"{column} - make_interval(days => c.days)" if is_moment else f"{column} - c.days"


def _is_one(model: Any, field: Any, by_table: dict[str, Copied]) -> bool:
    """Tell whether the database allows what is in this column once, but for each copied row."""
    from django.db import models

    if field.unique or field.choices:
        return bool(field.unique)
    for each in model._meta.constraints:
        if isinstance(each, models.UniqueConstraint) and field.name in each.fields:
            others = [model._meta.get_field(name) for name in each.fields]
            tables = {other.related_model._meta.db_table for other in others if other.is_relation}
            if tables.isdisjoint(by_table):
                return True
    return False


def _copy_notes(cursor: Any, copied: list[Copied]) -> None:
    """Note the last change of each copied row that programs follow."""
    from django.apps import apps

    by_table = {each.table: each for each in copied}
    cursor.execute("SELECT DISTINCT kind FROM keeping_rowchange")
    for (kind,) in cursor.fetchall():
        what = by_table.get(apps.get_model(kind)._meta.db_table)
        if what is not None:
            cursor.execute(
                "INSERT INTO keeping_rowchange (kind, row_id, changed_at) "
                f"SELECT t.kind, t.row_id - c.k * {what.stride}, "
                f"{_moved('t.changed_at', is_moment=True)} "
                f"FROM copies c CROSS JOIN keeping_rowchange t WHERE t.kind = '{kind}' "
                f"AND t.row_id BETWEEN {what.first} AND {what.last} ORDER BY c.k DESC, t.id"
            )


def _keep_stock(cursor: Any) -> None:
    """Make the balances of the copied lines, and add these to those that were there."""
    from inventory.stock.models import Place

    inside, vessels = (
        ", ".join(f"'{kind}'" for kind in kinds) for kinds in (Place.IN_HOUSE, Place.VESSELS)
    )
    cursor.execute(
        "CREATE TEMPORARY TABLE sums AS "
        "SELECT item_id, place_id, lot_id, sum(quantity) AS quantity "
        "FROM inventory_postingline GROUP BY item_id, place_id, lot_id"
    )
    cursor.execute("CREATE INDEX sums_of ON sums (item_id, place_id, lot_id)")
    for same in ("s.lot_id = b.lot_id", "s.lot_id IS NULL AND b.lot_id IS NULL"):
        there = f"FROM sums s WHERE s.item_id = b.item_id AND s.place_id = b.place_id AND {same}"
        cursor.execute(
            f"UPDATE inventory_balance AS b SET quantity = (SELECT s.quantity {there}) "
            f"WHERE EXISTS (SELECT 1 {there} AND s.quantity <> b.quantity)"
        )
    cursor.execute(
        "INSERT INTO inventory_balance "
        "(item_id, place_id, lot_id, quantity, reserved, is_physical, is_vessel) "
        f"SELECT s.item_id, s.place_id, s.lot_id, s.quantity, 0, p.kind IN ({inside}), "
        f"p.kind IN ({vessels}) FROM sums s JOIN inventory_place p ON p.id = s.place_id "
        "WHERE NOT EXISTS (SELECT 1 FROM inventory_balance b WHERE b.item_id = s.item_id "
        "AND b.place_id = s.place_id AND (b.lot_id = s.lot_id "
        "OR (b.lot_id IS NULL AND s.lot_id IS NULL))) ORDER BY s.lot_id"
    )
    cursor.execute("DROP TABLE sums")


def _keep_debts(cursor: Any) -> None:
    cursor.execute(
        "UPDATE customers_customerbalance SET owed_cents = coalesce((SELECT sum(l.amount_cents) "
        "FROM billing_entryline l WHERE l.account = 'receivable' "
        "AND l.customer_id = customers_customerbalance.customer_id), 0)"
    )


def _keep_counters(cursor: Any) -> None:
    table, series, number = SERIES
    cursor.execute(
        f"SELECT {series}, max({number}) FROM {table} WHERE {series} <> '' GROUP BY {series}"
    )
    for name, last in cursor.fetchall():
        cursor.execute("DELETE FROM inventory_counter WHERE series = %s", [f"invoice {name}"])
        cursor.execute(
            "INSERT INTO inventory_counter (series, last, first) VALUES (%s, %s, 1)",
            [f"invoice {name}", last],
        )


def _add_origins(count: int) -> None:
    """Pour so many small lots into one tank, one after the other; each makes a new blend."""
    from apiary_sales.accounts.models import User
    from apiary_sales.keeping.models import RowChange
    from inventory.stock.models import Item, Lot, LotCost, LotParent, Place, Posting, PostingLine
    from inventory.stock.services import places

    person = User.objects.get(role=User.Role.BOTTLING)
    shape = places.Shape(form="upright", diameter_mm=1400, length_mm=1800)
    pail = places.create(kind=Place.Kind.PAIL, code="pail-9", name="Pail 9", tare_grams=900)
    tank = places.create(
        kind=Place.Kind.TANK, code="never-empty", name="Tank never empty", shape=shape
    )
    harvest, honey = Place.objects.outside(Place.Kind.HARVEST), Item.objects.honey()
    grams, cents = 2_000, 600
    lots, links, postings, lines = [], [], [], []

    def lot(kind: str, code: str, times: int) -> Lot:
        made = Lot(
            kind=kind,
            code=code,
            season=TODAY.year,
            floral_source="Clover",
            made_on=TODAY,
            moisture_percent=Decimal("17.4"),
            quantity_made=grams * times,
            cost_cents=cents * times,
        )
        lots.append(made)
        return made

    def post(kind: str, number: int, *moved: tuple[Place, Lot, int]) -> None:
        posting = Posting(
            kind=kind,
            occurred_at=NOW - timedelta(seconds=count - number),
            recorded_by=person,
            idempotency_key=f"origin-{kind}-{number}",
        )
        postings.append(posting)
        lines.extend(
            PostingLine(posting=posting, item=honey, place=place, lot=lot, quantity=quantity)
            for place, lot, quantity in moved
        )

    before: Lot | None = None
    for number in range(1, count + 1):
        small = lot(Lot.Kind.EXTRACTION, f"26-E9{number:04d}", 1)
        post("extraction", number, (harvest, small, -grams), (pail, small, grams))
        if before is None:
            post("transfer", number, (pail, small, -grams), (tank, small, grams))
            before = small
            continue
        mixed = lot(Lot.Kind.BLEND, f"26-B9{number:04d}", number)
        there = grams * (number - 1)
        post(
            "transfer",
            number,
            (pail, small, -grams),
            (tank, before, -there),
            (tank, mixed, there + grams),
        )
        links += [
            LotParent(lot=mixed, parent=before, grams=there),
            LotParent(lot=mixed, parent=small, grams=grams),
        ]
        before = mixed
    for model, rows in ((Lot, lots), (LotParent, links), (Posting, postings), (PostingLine, lines)):
        model.objects.bulk_create(rows)
    LotCost.objects.bulk_create(
        LotCost(lot=lot, cost_cents=lot.cost_cents, quantity_made=lot.quantity_made, known_at=NOW)
        for lot in lots
    )
    RowChange.objects.bulk_create(
        RowChange(kind="inventory.lot", row_id=lot.pk, changed_at=NOW) for lot in lots
    )


def _analyze() -> None:
    """Let the database know what is in its tables, as the nightly work does."""
    from apiary_sales.keeping import statistics

    statistics.refresh()


def _prove() -> None:
    from django.core.management import call_command

    call_command("verify_ledger")
    _say("proved")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("size", choices=SIZES)
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--sqlite", type=Path, help="Make this file, and told.sqlite3 beside it.")
    where.add_argument("--postgresql", help="Make this database, and “told” on the same server.")
    parser.add_argument("--unproved", action="store_true", help="Leave out verify_ledger.")
    asked = parser.parse_args()
    url = _begin_sqlite(asked.sqlite) if asked.sqlite else _begin_postgresql(asked.postgresql)
    _start_django(url)
    grow(SIZES[asked.size])
    if not asked.unproved:
        _prove()


def _begin_sqlite(path: Path) -> str:
    """Copy the house in which all was told, once there is one; return the copy's DATABASE_URL."""
    told = path.resolve().with_name("told.sqlite3")
    if path.exists():
        sys.exit(f"{path} is there.")
    if not told.exists():
        _tell_in(f"sqlite:///{told}")
    shutil.copyfile(told, path)
    return f"sqlite:///{path.resolve()}"


def _begin_postgresql(url: str) -> str:
    import psycopg

    server, _slash, name = url.rpartition("/")
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        names = {row[0] for row in connection.execute("SELECT datname FROM pg_database")}
        if name in names:
            sys.exit(f"The database {name} is there.")
        if "told" not in names:
            connection.execute("CREATE DATABASE told")
            _tell_in(f"{server}/told")
        connection.execute(f'CREATE DATABASE "{name}" TEMPLATE told')
    return url


def _tell_in(url: str) -> None:
    """Tell all in a process of its own, which leaves a closed database."""
    code = "from tests.benchmarks import house; house.tell()"
    subprocess.run(
        [sys.executable, "manage.py", "shell", "--no-imports", "-c", code],
        check=True,
        cwd=Path(__file__).resolve().parents[2],
        env={**os.environ, "DATABASE_URL": url, "DEBUG": "true", "DATA_DIR": _folder()},
    )


def _folder() -> str:
    return tempfile.mkdtemp(prefix="honey-benchmark-")


def _start_django(url: str) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "apiary_sales.settings"
    os.environ |= {"DATABASE_URL": url, "DEBUG": "true", "DATA_DIR": _folder()}
    import django

    django.setup()


if __name__ == "__main__":
    main()
