"""How text is found within 1,000,000 entries: what each kind of database is asked, and keeps.

SQLite keeps a full-text table of every three letters (FTS5, tokenizer `trigram`), which triggers
keep in step with the entries. PostgreSQL keeps an index of them for each kind (`pg_trgm`, GIN),
which any owner of a database may add since version 13. Where they cannot be made, the same
questions are answered by reading all entries: slower, and `rebuild_search` says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import DatabaseError, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from apiary_sales.finding.models import keys_of_kind, kind_of
from apiary_sales.finding.rules import PART_MIN, SearchQuestion
from inventory.shared import findable

TABLE = "finding_searchentry"
TEXT_TABLE = "finding_text"
TEXT_INDEX = "finding_text_trigrams"
# The highest character: what begins with "ab" is from "ab" to "ab" followed by it.
LAST = "\U0010ffff"
# For each one that is wanted of a kind, so many of its newest are read before PostgreSQL's index of
# letters is asked: what many have is found among them at once, and all that a small kind has.
READ_FOR_ONE = 25
# So many pages of FTS5 are written together in one step.
PAGES = 500

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
# What is filled in for each kind that is wanted.
WITHIN = "id BETWEEN {first} AND {last}"
NEWEST_FIRST = "ORDER BY id DESC LIMIT {most}"


def make(connection: BaseDatabaseWrapper) -> bool:
    """Make the index of letters where there is none and the database can; tell whether it did."""
    if is_there(connection):
        return False
    statements = SQLITE if connection.vendor == "sqlite" else _postgresql()
    try:
        with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)
    except DatabaseError:
        # Without FTS5, or without the right to add an extension: see `is_there`.
        return False
    return True


def _postgresql() -> list[str]:
    """Return what makes an index of each kind, so that what others have is never gone through.

    Without `fastupdate` a write goes into the index itself: a list of what is still to be written
    would be read through by each question.
    """
    return [
        "CREATE EXTENSION IF NOT EXISTS pg_trgm",
        f"DROP INDEX IF EXISTS {TEXT_INDEX}",
        *(
            f"CREATE INDEX IF NOT EXISTS {_index_of(kind.number)} ON {TABLE} "
            f"USING gin (text gin_trgm_ops) WITH (fastupdate = off) WHERE kind = {kind.number}"
            for kind in findable.kinds()
        ),
    ]


def _index_of(kind: int) -> str:
    return f"{TEXT_INDEX}_{kind}"


def without_letters(connection: BaseDatabaseWrapper) -> list[str]:
    """Return what takes the index of letters away."""
    if connection.vendor == "sqlite":
        triggers = [f"{TEXT_TABLE}_{what}" for what in ("added", "removed", "changed")]
        gone = [f"DROP TRIGGER IF EXISTS {trigger}" for trigger in triggers]
        return [*gone, f"DROP TABLE IF EXISTS {TEXT_TABLE}"]
    return [f"DROP INDEX IF EXISTS {_index_of(kind.number)}" for kind in findable.kinds()]


def is_there(connection: BaseDatabaseWrapper) -> bool:
    if connection.vendor == "sqlite":
        question = "SELECT count(*) FROM sqlite_master WHERE name = %s"
        values: list[Any] = [TEXT_TABLE]
    else:
        question = "SELECT count(*) FROM pg_class WHERE relname = ANY(%s)"
        values = [[_index_of(kind.number) for kind in findable.kinds()]]
    with connection.cursor() as cursor:
        cursor.execute(question, values)
        count: int = cursor.fetchone()[0]
    return count == (1 if connection.vendor == "sqlite" else len(values[0]))


def fill(connection: BaseDatabaseWrapper) -> None:
    """Read the text of all entries into an index of letters that was just made."""
    if connection.vendor == "sqlite" and is_there(connection):
        with connection.cursor() as cursor:
            cursor.execute(f"INSERT INTO {TEXT_TABLE}({TEXT_TABLE}) VALUES ('rebuild')")


def forget(connection: BaseDatabaseWrapper) -> None:
    """Leave nothing in the index of letters of what entries said before.

    FTS5 only notes that old letters count no more, and drops them when parts of the index are next
    written together. That is done now, in short steps, each a transaction of its own: the first
    one, below zero, says that all parts become one. Its `secure-delete` would overwrite them at
    once, but no SQLite before 3.42 could read such an index again, so that a backup would not work
    on another machine.
    """
    if connection.vendor != "sqlite" or not is_there(connection):
        return
    pages = -PAGES
    with connection.cursor() as cursor:
        while True:
            before = connection.connection.total_changes
            cursor.execute(
                f"INSERT INTO {TEXT_TABLE}({TEXT_TABLE}, rank) VALUES ('merge', %s)", [pages]
            )
            # The statement itself is one change.
            if connection.connection.total_changes - before < 2:
                return
            pages = PAGES


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
    if connection.vendor == "postgresql":
        return _by_letters(connection, question, wanted)
    if is_there(connection):
        return _by_full_text(connection, question, wanted)
    condition, values = _condition("instr(text, %s) > 0", question)
    rows = f"SELECT id FROM {TABLE} WHERE {WITHIN} AND {condition} {NEWEST_FIRST}"
    return _of_each_kind(connection, rows, values, wanted)


def beginnings(
    connection: BaseDatabaseWrapper, question: SearchQuestion, wanted: Sequence[KindWanted]
) -> list[int]:
    """Return keys of entries with a code, or a name, that begins with a short question."""
    # PostgreSQL's own signs compare letter by letter, as the index does, in any language.
    least, below = (">=", "<") if connection.vendor == "sqlite" else ("~>=~", "~<~")
    rows = " UNION ALL ".join(
        f"SELECT * FROM (SELECT id FROM {TABLE} WHERE kind = {{kind}} AND "
        f"{column} {least} %s AND {column} {below} %s LIMIT {{most}}) AS {column}"
        for column in ("code", "other_code")
    )
    text = question.text
    return _of_each_kind(connection, rows, [text, text + LAST] * 2, wanted)


def amounts(connection: BaseDatabaseWrapper, cents: int, wanted: Sequence[KindWanted]) -> list[int]:
    """Return keys of entries of an amount."""
    rows = f"SELECT id FROM {TABLE} WHERE amount_cents = %s AND {WITHIN} {NEWEST_FIRST}"
    return _of_each_kind(connection, rows, [cents], wanted)


def _condition(holds: str, question: SearchQuestion) -> tuple[str, list[str]]:
    """Return what says that a text holds what is asked for, and its values."""
    condition = " AND ".join(holds for _word in question.words)
    if question.phone_part:
        return f"(({condition}) OR {holds})", [*question.words, question.phone_part]
    return condition, list(question.words)


def _of_each_kind(
    connection: BaseDatabaseWrapper, rows: str, values: Sequence[Any], wanted: Sequence[KindWanted]
) -> list[int]:
    """Ask for several kinds at once, each with its own order and limit."""
    if connection.vendor == "postgresql":
        # One plan for all kinds.
        each = rows.format(
            kind="wanted.kind", first="wanted.first", last="wanted.last", most="wanted.most"
        )
        statement = f"SELECT found.id FROM {_wanted(wanted)} CROSS JOIN LATERAL ({each}) AS found"
        return _keys(_asked(connection, statement, values))
    statements = [
        f"SELECT * FROM ({rows.format(kind=each.kind, first=first, last=last, most=each.count)})"
        for each in wanted
        for first, last in [each.keys]
    ]
    return _keys(_asked(connection, " UNION ALL ".join(statements), [*values] * len(wanted)))


def _wanted(wanted: Sequence[KindWanted]) -> str:
    """Return the kinds that are wanted as a table, for PostgreSQL; whole numbers alone."""
    rows = ", ".join(
        f"({each.kind}, {first}::bigint, {last}::bigint, {each.count})"
        for each in wanted
        for first, last in [each.keys]
    )
    return f"(VALUES {rows}) AS wanted (kind, first, last, most)"


def _by_letters(
    connection: BaseDatabaseWrapper, question: SearchQuestion, wanted: Sequence[KindWanted]
) -> list[int]:
    """Look among the newest of each kind, and ask its index of letters where that is not enough.

    What most have would be a long list in the index, although the newest few are wanted; what few
    have would be a long way back from the newest.
    """
    condition, parts = _condition("text LIKE %s", question)
    values = [f"%{connection.ops.prep_for_like_query(part)}%" for part in parts]
    newest = f"""SELECT wanted.kind, looked_at.count, looked_at.keys FROM {_wanted(wanted)}
        CROSS JOIN LATERAL (
            SELECT count(*) AS count, array_agg(id) FILTER (WHERE {condition}) AS keys FROM (
                SELECT id, text FROM {TABLE} WHERE id BETWEEN wanted.first AND wanted.last
                ORDER BY id DESC LIMIT {READ_FOR_ONE} * wanted.most) AS newest) AS looked_at"""
    keys: dict[int, list[int]] = {}
    further = {each.kind: each for each in wanted}
    for kind, count, found in _asked(connection, newest, values):
        keys[kind] = sorted(found or (), reverse=True)[: further[kind].count]
        most = further[kind].count
        if count < READ_FOR_ONE * most or len(keys[kind]) == most:
            del further[kind]
    statements = [
        # The order comes after the index: it would be tempting to read all from the newest on.
        f"SELECT * FROM (SELECT id FROM (SELECT id FROM {TABLE} WHERE kind = {each.kind} "
        f"AND id BETWEEN {first} AND {last} AND {condition} OFFSET 0) AS of_kind "
        f"ORDER BY id DESC LIMIT {each.count}) AS newest"
        for each in further.values()
        for first, last in [each.keys]
    ]
    if statements:
        found = _asked(connection, " UNION ALL ".join(statements), values * len(statements))
        for kind in further:
            keys[kind] = []
        for key in _keys(found):
            keys[kind_of(key)].append(key)
    return [key for each in wanted for key in keys[each.kind]]


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
    return _keys(_asked(connection, " UNION ALL ".join(statements), values))


def _quoted(part: str) -> str:
    return '"' + part.replace('"', '""') + '"'


def _asked(
    connection: BaseDatabaseWrapper, statement: str, values: Sequence[Any]
) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchall()


def _keys(rows: Sequence[tuple[Any, ...]]) -> list[int]:
    return [row[0] for row in rows]
