"""How text is found within 1,000,000 entries: what each kind of database is asked, and keeps.

SQLite keeps a full-text table of every three letters (FTS5, tokenizer `trigram`), which triggers
keep in step with the entries. PostgreSQL keeps an index of them (`pg_trgm`, GIN), which any owner
of a database may add since version 13. Where one of them cannot be made, the same questions are
answered by reading all entries: slower, and `rebuild_search` says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import DatabaseError, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Q, QuerySet

from apiary_sales.finding.models import SearchEntry, keys_of_kind
from apiary_sales.finding.rules import PART_MIN, SearchQuestion

TABLE = "finding_searchentry"
TEXT_TABLE = "finding_text"
TEXT_INDEX = "finding_text_trigrams"
# The highest character: what begins with "ab" is from "ab" to "ab" followed by it.
LAST = "\U0010ffff"

SQLITE = (
    f"""CREATE VIRTUAL TABLE {TEXT_TABLE} USING fts5(
        text, content='{TABLE}', content_rowid='id', tokenize='trigram')""",
    f"""CREATE TRIGGER {TEXT_TABLE}_added AFTER INSERT ON {TABLE} BEGIN
        INSERT INTO {TEXT_TABLE}(rowid, text) VALUES (new.id, new.text); END""",
    f"""CREATE TRIGGER {TEXT_TABLE}_removed AFTER DELETE ON {TABLE} BEGIN
        INSERT INTO {TEXT_TABLE}({TEXT_TABLE}, rowid, text)
        VALUES ('delete', old.id, old.text); END""",
    f"""CREATE TRIGGER {TEXT_TABLE}_changed AFTER UPDATE OF text ON {TABLE}
        WHEN old.text <> new.text BEGIN
        INSERT INTO {TEXT_TABLE}({TEXT_TABLE}, rowid, text)
        VALUES ('delete', old.id, old.text);
        INSERT INTO {TEXT_TABLE}(rowid, text) VALUES (new.id, new.text); END""",
)
POSTGRESQL = (
    "CREATE EXTENSION IF NOT EXISTS pg_trgm",
    f"CREATE INDEX {TEXT_INDEX} ON {TABLE} USING gin (text gin_trgm_ops)",
)


def make(connection: BaseDatabaseWrapper) -> bool:
    """Make the index of letters where there is none and the database can; tell whether it did."""
    if is_there(connection):
        return False
    statements = SQLITE if connection.vendor == "sqlite" else POSTGRESQL
    try:
        with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)
    except DatabaseError:
        # Without FTS5, or without the right to add an extension: see `is_there`.
        return False
    return True


def is_there(connection: BaseDatabaseWrapper) -> bool:
    if connection.vendor == "sqlite":
        question = "SELECT 1 FROM sqlite_master WHERE name = %s"
        name = TEXT_TABLE
    else:
        question, name = "SELECT 1 FROM pg_class WHERE relname = %s", TEXT_INDEX
    with connection.cursor() as cursor:
        cursor.execute(question, [name])
        return cursor.fetchone() is not None


def fill(connection: BaseDatabaseWrapper) -> None:
    """Read the text of all entries into an index of letters that was just made."""
    if connection.vendor == "sqlite" and is_there(connection):
        with connection.cursor() as cursor:
            cursor.execute(f"INSERT INTO {TEXT_TABLE}({TEXT_TABLE}) VALUES ('rebuild')")


@dataclass(frozen=True)
class KindWanted:
    """How many of a kind are wanted, those before a key; the newest come first."""

    kind: int
    count: int
    before: int | None = None

    @property
    def keys(self) -> tuple[int, int]:
        first, last = keys_of_kind(self.kind)
        return first, last if self.before is None else self.before - 1


def parts(
    connection: BaseDatabaseWrapper, question: SearchQuestion, wanted: Sequence[KindWanted]
) -> list[int]:
    """Return keys of entries that have all parts of a question somewhere in their text."""
    if not wanted:
        return []
    if connection.vendor == "sqlite" and is_there(connection):
        return _by_full_text(connection, question, wanted)
    condition = Q()
    for word in question.words:
        condition &= Q(text__contains=word)
    if question.phone_part:
        condition |= Q(text__contains=question.phone_part)
    return _of_each_kind(
        connection, [_newest(SearchEntry.objects.filter(condition), each) for each in wanted]
    )


def beginnings(
    connection: BaseDatabaseWrapper, question: SearchQuestion, wanted: Sequence[KindWanted]
) -> list[int]:
    """Return keys of entries with a code, or a name, that begins with a short question."""
    text = question.text
    found = []
    for each in wanted:
        rows = SearchEntry.objects.filter(kind=each.kind)
        for column in ("code", "other_code"):
            if connection.vendor == "sqlite":
                begins = Q(**{f"{column}__gte": text, f"{column}__lt": text + LAST})
            else:
                begins = Q(**{f"{column}__startswith": text})
            keys = rows.filter(begins).order_by().values_list("pk", flat=True)
            found.append(keys[: each.count])
    return _of_each_kind(connection, found)


def amounts(connection: BaseDatabaseWrapper, cents: int, wanted: Sequence[KindWanted]) -> list[int]:
    """Return keys of entries of an amount."""
    rows = SearchEntry.objects.filter(amount_cents=cents)
    return _of_each_kind(connection, [_newest(rows, each) for each in wanted])


def _newest(rows: "QuerySet[SearchEntry]", wanted: KindWanted) -> "QuerySet[SearchEntry, int]":
    within = rows.filter(pk__range=wanted.keys).order_by("-pk")
    return within.values_list("pk", flat=True)[: wanted.count]


def _of_each_kind(
    connection: BaseDatabaseWrapper, found: "Sequence[QuerySet[SearchEntry, int]]"
) -> list[int]:
    """Ask for several kinds at once, each with its own order and limit."""
    statements: list[str] = []
    values: list[Any] = []
    for rows in found:
        statement, parameters = rows.query.sql_with_params()
        statements.append(f"SELECT * FROM ({statement}) AS kind")
        values += parameters
    return _asked(connection, " UNION ALL ".join(statements), values)


def _by_full_text(
    connection: BaseDatabaseWrapper, question: SearchQuestion, wanted: Sequence[KindWanted]
) -> list[int]:
    long = [word for word in question.words if len(word) >= PART_MIN]
    short = [word for word in question.words if len(word) < PART_MIN]
    match = " AND ".join(map(_quoted, long))
    if question.phone_part:
        # Groups of digits that are typed apart are too short to be looked for one by one.
        match, short = f"{_quoted(question.text)} OR {_quoted(question.phone_part)}", []
    # What is too short for the index is looked for in the entries that it gives.
    also = "".join(" AND instr(text, %s)" for _word in short)
    statements: list[str] = []
    values: list[Any] = []
    for each in wanted:
        first, last = each.keys
        statements.append(
            f"SELECT * FROM (SELECT rowid FROM {TEXT_TABLE} WHERE {TEXT_TABLE} MATCH %s "
            f"AND rowid BETWEEN %s AND %s{also} ORDER BY rowid DESC LIMIT %s)"
        )
        values += [match, first, last, *short, each.count]
    return _asked(connection, " UNION ALL ".join(statements), values)


def _quoted(part: str) -> str:
    return '"' + part.replace('"', '""') + '"'


def _asked(connection: BaseDatabaseWrapper, statement: str, values: Sequence[Any]) -> list[int]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return [row[0] for row in cursor.fetchall()]
