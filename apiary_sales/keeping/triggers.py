"""Triggers by which the database refuses what the laws of the books forbid (`append_only.py`).

They are made after every `migrate`, on SQLite and PostgreSQL, and lifted before one that has
something to do, since a rebuilt table of SQLite would lose them. A trigger costs a write nothing
that a person could notice: an UPDATE compares columns, an INSERT one number.

Others note when a row was changed that programs follow (`following.py`). They are made and lifted
with the first: what moves a whole house writes its rows as they were, with no new moment.
"""

import hashlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from apiary_sales.keeping import following
from apiary_sales.keeping.append_only import KEPT, KeptTable
from apiary_sales.keeping.models import RowChange
from inventory.stock.models import Seal

PREFIX = "books_"
REFUSE = "books_refuse"
FOLLOW = "books_follow"
# Now, as Django keeps a moment: SQLite compares them as text, and Django writes six decimals, or
# none where they are zeros.
MOMENT_SQLITE = "replace(strftime('%Y-%m-%d %H:%M:%f', 'now') || '000', '.000000', '')"


@dataclass(frozen=True)
class BookTrigger:
    """One trigger, and the statement that makes it."""

    name: str
    table: str
    statement: str
    # The function that it calls on PostgreSQL.
    function: str = REFUSE

    @property
    def fault(self) -> str:
        """Say what the database does not do without it."""
        lack = (
            f"note when rows of {self.table} change"
            if self.function.startswith(FOLLOW)
            else f"refuse changes of {self.table}"
        )
        return (
            f"The database does not {lack}: a trigger of it is missing, off or another one. Run "
            "manage.py migrate, which makes it again, and find out who dropped it."
        )

    @property
    def digest(self) -> str:
        return hashlib.sha256(self.statement.encode()).hexdigest()


def make(using: str) -> None:
    """Make the triggers that are missing or of another table of laws, and drop those of none."""
    connection = connections[using]
    wanted, found = _wanted(connection), _found(connection)
    stale = {name: table for name, (table, said) in found.items() if not _is(wanted, name, said)}
    missing = [each for name, each in wanted.items() if name not in found or name in stale]
    if not stale and not missing:
        return
    with transaction.atomic(using=using):
        _drop(connection, stale)
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                for statement in _functions(connection):
                    cursor.execute(statement)
            for trigger in missing:
                cursor.execute(trigger.statement)
                if connection.vendor == "postgresql":
                    cursor.execute(
                        f"COMMENT ON TRIGGER {trigger.name} ON {trigger.table} "
                        f"IS '{trigger.digest}'"
                    )


def lift(using: str) -> None:
    """Drop all triggers of the books, until the next `make`."""
    connection = connections[using]
    _drop(connection, {name: table for name, (table, _said) in _found(connection).items()})


@contextmanager
def lifted(using: str = "default") -> Iterator[None]:
    """Let rows be written as they are within the block, all of it one transaction.

    For what fills an empty database, and for tests. Nobody else works without triggers meanwhile:
    they see the transaction when it is over. Where the block fails, nothing of it stays.
    """
    with transaction.atomic(using=using):
        lift(using)
        yield
        make(using)


def faults(using: str = "default") -> Iterator[str]:
    """Yield a sentence for each table that the database does not keep as the laws say."""
    connection = connections[using]
    wanted, found = _wanted(connection), _found(connection)
    wrong = _wrong_functions(connection) if connection.vendor == "postgresql" else set()
    without = {
        trigger.fault: None
        for name, trigger in wanted.items()
        if name not in found or not _is(wanted, name, found[name][1]) or trigger.function in wrong
    }
    yield from without


def _is(wanted: Mapping[str, BookTrigger], name: str, said: str) -> bool:
    """Tell whether a trigger is there as it is wanted: by its text on SQLite, else its digest."""
    return name in wanted and said in (wanted[name].statement, wanted[name].digest)


def _drop(connection: BaseDatabaseWrapper, names: Mapping[str, str]) -> None:
    if not names:
        return
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            for name in names:
                cursor.execute(f"DROP TRIGGER {name}")
            return
        # A table can't be altered while checks of foreign keys wait for the end.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for name, table in names.items():
            cursor.execute(f"DROP TRIGGER {name} ON {table}")
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")


def _wanted(connection: BaseDatabaseWrapper) -> dict[str, BookTrigger]:
    """Return the triggers of all tables that there are, by name."""
    columns = _columns(connection)
    made = _sqlite if connection.vendor == "sqlite" else _postgresql
    has_seals = Seal._meta.db_table in columns
    found: dict[str, BookTrigger] = {}
    for kept in KEPT:
        if kept.name not in columns:
            continue
        names = [name for name in columns[kept.name] if name not in kept.may_change]
        for what, statement in made(kept, sorted(names), has_seals):
            name = f"{PREFIX}{kept.name}_{what}"
            found[name] = BookTrigger(name, kept.name, statement.format(name=name))
    if RowChange._meta.db_table in columns:
        for table in following.tables():
            for trigger in _following(connection, table, sorted(columns.get(table, ()))):
                found[trigger.name] = trigger
    return found


def _following(
    connection: BaseDatabaseWrapper, table: str, columns: list[str]
) -> Iterator[BookTrigger]:
    """Yield the triggers that note what changes with a row of a table."""
    if not columns:
        return
    function = f"{FOLLOW}_{table}"
    is_sqlite = connection.vendor == "sqlite"
    differ = "IS NOT" if is_sqlite else "IS DISTINCT FROM"
    differs = " OR ".join(f'OLD."{name}" {differ} NEW."{name}"' for name in columns)
    for event, name, when, rows in (
        ("INSERT", "added", "", ["NEW"]),
        ("UPDATE", "changed", f"WHEN ({differs}) ", ["OLD", "NEW"]),
        ("DELETE", "removed", "", ["OLD"]),
    ):
        full = f"{function}_{name}"
        begin = f"CREATE TRIGGER {full} AFTER {event} ON {table}"
        if is_sqlite:
            statement = f"{begin} {when}BEGIN {' '.join(_notes(table, rows))} END"
        else:
            # What the function does is part of what the trigger is known by.
            statement = (
                f"{begin} FOR EACH ROW {when}EXECUTE FUNCTION {function}() "
                f"/* {hashlib.sha256(_following_body(table).encode()).hexdigest()} */"
            )
        yield BookTrigger(full, table, statement, function)


def _told(table: str, rows: list[str]) -> Iterator[tuple[str, str]]:
    """Yield the kind of each row that is changed with one of a table, and the query that finds it.

    `rows` are the names under which a trigger has the row: NEW, OLD or both.
    """
    yield from dict.fromkeys(
        (kind, query.format(row=row))
        for row in rows
        for kind, query in following.rows_told_by(table)
    )


def _notes(table: str, rows: list[str]) -> Iterator[str]:
    """Yield the statements of SQLite that note each row that is changed with one of a table."""
    notes = RowChange._meta.db_table
    for kind, query in _told(table, rows):
        yield (
            f"UPDATE {notes} SET changed_at = {MOMENT_SQLITE} "
            f"WHERE kind = '{kind}' AND row_id IN ({query});"
        )
        yield (
            f"INSERT INTO {notes} (kind, row_id, changed_at) "
            f"SELECT '{kind}', told.row_id, {MOMENT_SQLITE} FROM ({query}) told "
            "WHERE told.row_id IS NOT NULL AND NOT EXISTS ("
            f"SELECT 1 FROM {notes} n WHERE n.kind = '{kind}' AND n.row_id = told.row_id);"
        )


def _following_body(table: str) -> str:
    """Return what the function of a followed table does on PostgreSQL.

    It never waits: where another transaction notes a change of the same row just now, it adds a
    second note. Waiting there, with what an act has locked so far, could block two acts for ever.
    An INSERT has no old row and a DELETE no new one: what belongs to none is left out.
    """
    notes = RowChange._meta.db_table
    told = " UNION ".join(
        f"SELECT '{kind}' AS kind, row_id FROM ({query}) one WHERE row_id IS NOT NULL"
        for kind, query in _told(table, ["NEW", "OLD"])
    )
    return (
        f"DECLARE told record; BEGIN FOR told IN {told} LOOP "
        f"UPDATE {notes} SET changed_at = clock_timestamp() WHERE id = ("
        f"SELECT id FROM {notes} WHERE kind = told.kind AND row_id = told.row_id "
        "LIMIT 1 FOR UPDATE SKIP LOCKED); "
        f"IF NOT FOUND THEN INSERT INTO {notes} (kind, row_id, changed_at) "
        "VALUES (told.kind, told.row_id, clock_timestamp()); END IF; "
        "END LOOP; RETURN NULL; END"
    )


def _columns(connection: BaseDatabaseWrapper) -> dict[str, list[str]]:
    """Return the columns of each table, as the database has them: a migration may be behind."""
    if connection.vendor == "sqlite":
        statement = (
            "SELECT m.name, c.name FROM sqlite_master m JOIN pragma_table_info(m.name) c "
            "WHERE m.type = 'table'"
        )
    else:
        statement = (
            "SELECT table_name, column_name FROM information_schema.columns "
            "WHERE table_schema = current_schema()"
        )
    found: dict[str, list[str]] = {}
    for table, column in _asked(connection, statement):
        found.setdefault(table, []).append(column)
    return found


def _found(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, str]]:
    """Return the table of each trigger that is there, and its text or the digest of it."""
    if connection.vendor == "sqlite":
        statement = (
            "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger' "
            f"AND name GLOB '{PREFIX}*'"
        )
    else:
        # One that is switched off counts as another one.
        statement = (
            "SELECT t.tgname, c.relname, CASE t.tgenabled WHEN 'O' THEN "
            "coalesce(obj_description(t.oid, 'pg_trigger'), '') ELSE '' END "
            "FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "JOIN pg_namespace n ON n.oid = c.relnamespace "
            f"WHERE n.nspname = current_schema() AND starts_with(t.tgname, '{PREFIX}')"
        )
    return {name: (table, said) for name, table, said in _asked(connection, statement)}


def _sqlite(kept: KeptTable, names: list[str], has_seals: bool) -> Iterator[tuple[str, str]]:
    table = kept.name
    differs = " OR ".join(f'OLD."{name}" IS NOT NEW."{name}"' for name in names)
    changed, deleted, old = (f"SELECT RAISE(ABORT, '{said}')" for said in _sentences(table))
    begin = "CREATE TRIGGER {name} BEFORE"
    yield "changed", f"{begin} UPDATE ON {table} WHEN {differs} BEGIN {changed}; END"
    yield "deleted", f"{begin} DELETE ON {table} BEGIN {deleted}; END"
    # Without a number of its own, a new row has -1 here. Each one is written after the other, so
    # that what has a lower number takes the place of a row that was there.
    is_old = f"NEW.id > 0 AND NEW.id <= (SELECT max(id) FROM {table})"
    if kept.sealed_by and has_seals:
        kind, column = kept.sealed_by
        last = f"json_extract(last, '$.{kind}')"
        is_old = (
            f"({is_old}) OR (NEW.{column} > 0 AND NEW.{column} <= "
            f"(SELECT {last} FROM {Seal._meta.db_table} ORDER BY id DESC LIMIT 1))"
        )
    yield "entered", f"{begin} INSERT ON {table} WHEN {is_old} BEGIN {old}; END"


def _postgresql(kept: KeptTable, names: list[str], has_seals: bool) -> Iterator[tuple[str, str]]:
    table = kept.name
    differs = " OR ".join(f'OLD."{name}" IS DISTINCT FROM NEW."{name}"' for name in names)
    changed, deleted, old = (f"EXECUTE FUNCTION {REFUSE}('{said}')" for said in _sentences(table))
    begin = "CREATE TRIGGER {name} BEFORE"
    yield "changed", f"{begin} UPDATE ON {table} FOR EACH ROW WHEN ({differs}) {changed}"
    yield "deleted", f"{begin} DELETE ON {table} FOR EACH ROW {deleted}"
    yield "emptied", f"{begin} TRUNCATE ON {table} {deleted}"
    # Numbers are given before a row is committed, so that a lower one may rightly come later, but
    # never one that was sealed.
    if kept.sealed_by and has_seals:
        yield "entered", f"{begin} INSERT ON {table} FOR EACH ROW {old.replace(REFUSE, _old(kept))}"


def _sentences(table: str) -> tuple[str, str, str]:
    """Return why a change, a removal and an entry under an old number are refused."""
    return (
        f"Rows of {table} are never changed: undo by an opposite entry.",
        f"Rows of {table} are never deleted: undo by an opposite entry.",
        f"A row of {table} comes after those that are there: let the database number it.",
    )


def _old(kept: KeptTable) -> str:
    """Return the name of the function that refuses rows of what was sealed."""
    return f"{REFUSE}_old_{kept.name}"


def _bodies() -> dict[str, str]:
    """Return the text of each function of PostgreSQL, by name."""
    refuse = (
        "RAISE EXCEPTION USING MESSAGE = TG_ARGV[0], ERRCODE = 'integrity_constraint_violation'"
    )
    bodies = {REFUSE: f"BEGIN {refuse}; END"}
    for kept in KEPT:
        if kept.sealed_by:
            kind, column = kept.sealed_by
            bodies[_old(kept)] = (
                f"BEGIN IF NEW.{column} <= (SELECT (last->>'{kind}')::bigint "
                f"FROM {Seal._meta.db_table} ORDER BY id DESC LIMIT 1) "
                f"THEN {refuse}; END IF; RETURN NEW; END"
            )
    bodies |= {f"{FOLLOW}_{table}": _following_body(table) for table in following.tables()}
    return bodies


def _functions(connection: BaseDatabaseWrapper) -> Iterator[str]:
    for name, body in _bodies().items():
        yield (
            f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql "
            f"AS $body${body}$body$"
        )


def _wrong_functions(connection: BaseDatabaseWrapper) -> set[str]:
    """Return the functions of triggers that are missing or do something else."""
    found = _asked(
        connection,
        "SELECT p.proname, p.prosrc FROM pg_proc p JOIN pg_namespace n ON n.oid = p.pronamespace "
        f"WHERE n.nspname = current_schema() AND starts_with(p.proname, '{PREFIX}')",
    )
    there, wanted = dict(found), _bodies()
    wrong = {name for name in wanted if there.get(name) != wanted[name]}
    # Each table is kept by the function that refuses, and by one of its own beside it.
    return wrong | ({REFUSE} if any(name.startswith(REFUSE) for name in wrong) else set())


def _asked(connection: BaseDatabaseWrapper, statement: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return cursor.fetchall()
