"""All tables of a house: which there are, how they are read and written, and what they add up to.

What exports a house, brings one in or moves it to another database goes by this module. Rows are
written as they were read: by no `save`, no signal and no automatic date. Every foreign key of ours
is checked when a transaction ends, so that tables may come in any order.
"""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from functools import cached_property
from itertools import islice
from typing import Any

from django.apps import apps
from django.contrib.contenttypes.models import ContentType
from django.core.management.color import no_style
from django.db import DatabaseError, connections, models
from django.db.migrations.loader import MigrationLoader
from django.db.models import Q, Sum

from apiary_sales.billing.models import EntryLine
from inventory.stock.models import Balance

# Rows of these are made when the tables are, or at the first start: those of a house take their
# place.
MADE_BY_MIGRATE = (
    "accounts.SetUp",
    "contenttypes.ContentType",
    "auth.Permission",
    "auth.Group",
    "auth.Group_permissions",
    "inventory.LabelSheet",
)
# What a house may have before anybody has set it up.
OF_THE_MACHINE = (
    "accounts.HouseSession",
    "accounts.PinTries",
    "accounts.SignIn",
    "axes.AccessAttempt",
    "django_tasks_database.DBTaskResult",
    "inventory.LongWork",
    "keeping.Backup",
    "keeping.ProvedSeals",
    "keeping.SharedKeyAndFiles",
)

ROWS_AT_ONCE = 500
ROWS_READ_AT_ONCE = 2_000

# A spreadsheet takes such text for a formula (see `inventory.shared.csv_files`). One apostrophe is
# put before it, and before text that begins with one, so that taking off one gives the text back.
NEEDS_APOSTROPHE = ("'", "=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

Row = tuple[Any, ...]
Told = Callable[[int], None]


class CannotCopy(Exception):
    """A table can't be written; the text says which, and what the database said."""


@dataclass(frozen=True)
class StoredColumn:
    """One column of a table, and how its values are written as text."""

    field: models.Field[Any, Any]

    @property
    def name(self) -> str:
        return str(self.field.attname)

    @cached_property
    def is_json(self) -> bool:
        return isinstance(self.field, models.JSONField)

    @cached_property
    def is_binary(self) -> bool:
        return isinstance(self.field, models.BinaryField)

    @cached_property
    def is_text(self) -> bool:
        return isinstance(
            self._stored, models.CharField | models.TextField | models.FileField
        ) and not isinstance(self._stored, models.UUIDField)

    @cached_property
    def _stored(self) -> models.Field[Any, Any]:
        """The field whose kind of value is stored: for a foreign key, the key it points at."""
        field = self.field
        while isinstance(field, models.ForeignKey):
            field = field.target_field
        return field

    def text(self, value: Any) -> str:
        """Return a value as it is written in a CSV file."""
        if value is None:
            return ""
        if self.is_json:
            return json.dumps(value, ensure_ascii=False, sort_keys=True, cls=self._encoder)
        if self.is_text:
            return self._guarded(str(value))
        if isinstance(value, bool):
            return "true" if value else "false"
        if isinstance(value, Decimal):
            return f"{value:f}"
        if isinstance(value, datetime | date | time):
            return value.isoformat()
        if isinstance(value, bytes | memoryview):
            return bytes(value).hex()
        return str(value)

    def value(self, text: str) -> Any:
        """Return what a text of a CSV file stands for; raises `ValueError`, `KeyError` or
        `ValidationError`.
        """
        if self.is_text:
            if text == "" and self.field.null:
                return None
            return text.removeprefix("'")
        if text == "":
            return None
        if self.is_json:
            return json.loads(text)
        if self.is_binary:
            return bytes.fromhex(text)
        if isinstance(self._stored, models.BooleanField):
            return {"true": True, "false": False}[text]
        return self._stored.to_python(text)

    def _guarded(self, text: str) -> str:
        # Where there may be no value, an empty text that is there is told from one that is not.
        is_told_apart = text == "" and self.field.null
        return f"'{text}" if is_told_apart or text.startswith(NEEDS_APOSTROPHE) else text

    @property
    def _encoder(self) -> type[json.JSONEncoder] | None:
        return getattr(self.field, "encoder", None)


@dataclass(frozen=True)
class StoredTable:
    """One table with all its columns."""

    model: type[models.Model]

    @property
    def label(self) -> str:
        return str(self.model._meta.label)

    @cached_property
    def columns(self) -> tuple[StoredColumn, ...]:
        """All columns but those that the database works out itself."""
        fields = self.model._meta.concrete_fields
        return tuple(StoredColumn(field) for field in fields if not field.generated)

    def count(self, using: str) -> int:
        return self._rows(using).count()

    def rows(self, using: str) -> Iterator[Row]:
        """Yield all rows in the order of their keys, a value a column."""
        names = [column.name for column in self.columns]
        rows = self._rows(using).order_by("pk").values_list(*names)
        yield from rows.iterator(chunk_size=ROWS_READ_AT_ONCE)

    def insert(self, rows: Iterable[Row], using: str, told: Told = lambda count: None) -> int:
        """Write rows as they are; return how many. Raises `CannotCopy`."""
        connection = connections[using]
        quote = connection.ops.quote_name
        names = ", ".join(quote(str(column.field.column)) for column in self.columns)
        places = ", ".join(["%s"] * len(self.columns))
        statement = f"INSERT INTO {quote(self.model._meta.db_table)} ({names}) VALUES ({places})"
        fields = [column.field for column in self.columns]
        count = 0
        some = iter(rows)
        with connection.cursor() as cursor:
            while batch := list(islice(some, ROWS_AT_ONCE)):
                prepared = [
                    [
                        field.get_db_prep_save(value, connection)
                        for field, value in zip(fields, row, strict=True)
                    ]
                    for row in batch
                ]
                try:
                    cursor.executemany(statement, prepared)
                except DatabaseError as error:
                    raise CannotCopy(
                        f"{self.label}, rows {batch[0][0]} to {batch[-1][0]}: "
                        f"{' '.join(str(error).split())}"
                    ) from error
                count += len(batch)
                told(len(batch))
        return count

    def clear(self, using: str) -> None:
        connection = connections[using]
        with connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM {connection.ops.quote_name(self.model._meta.db_table)}")

    def _rows(self, using: str) -> models.QuerySet[Any]:
        return models.QuerySet(self.model, using=using)


def all_tables() -> list[StoredTable]:
    """Return every table that is not worked out from the others, in the order of the apps."""
    return [
        StoredTable(model)
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and not getattr(model, "is_derived", False)
    ]


def not_empty(using: str) -> str | None:
    """Return the name of a table that has rows in it that no migration made, or None."""
    passed_over = (*MADE_BY_MIGRATE, *OF_THE_MACHINE)
    for table in all_tables():
        if table.label not in passed_over and table._rows(using).exists():
            return table.label
    return None


def clear_what_migrate_made(using: str) -> None:
    """Delete the rows that came with the tables, before those of a house come in."""
    for table in all_tables():
        if table.label in MADE_BY_MIGRATE:
            table.clear(using)
    ContentType.objects.clear_cache()


def finish(using: str) -> None:
    """Check every foreign key, and let new rows take keys after those that came in.

    Call it in the transaction that wrote the rows. Raises `django.db.IntegrityError`.
    """
    connection = connections[using]
    connection.check_constraints()
    statements = connection.ops.sequence_reset_sql(
        no_style(), [table.model for table in all_tables()]
    )
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
    ContentType.objects.clear_cache()


def migrations() -> dict[str, str]:
    """Return the last migration of each app: two databases with the same have the same tables."""
    loader = MigrationLoader(None, ignore_no_migrations=True)
    return dict(sorted(loader.graph.leaf_nodes()))


def is_of_this_version(using: str) -> bool:
    """Tell whether the tables of a database are those of this version, no more and no fewer."""
    loader = MigrationLoader(connections[using], ignore_no_migrations=True)
    apps_of_ours = loader.migrated_apps
    applied = {key for key in loader.applied_migrations if key[0] in apps_of_ours}
    return applied == set(loader.disk_migrations)


def sums(using: str) -> dict[str, dict[str, int]]:
    """Return what the books add up to: cents by account, what is in the house by item.

    An account is called as in the journal. An item has its key, and beside it what is reserved.
    """
    accounts: dict[str, int] = {}
    lines = EntryLine.objects.using(using).order_by("account", "detail")
    for account, detail, cents in lines.values_list("account", "detail").annotate(
        total=Sum("amount_cents")
    ):
        accounts[f"{account}:{detail}" if detail else account] = cents
    here: dict[str, int] = {}
    reserved: dict[str, int] = {}
    balances = Balance.objects.using(using).order_by("item")
    for item, quantity, promised in balances.values_list("item").annotate(
        total=Sum("quantity", filter=Q(is_physical=True), default=0),
        promised=Sum("reserved", default=0),
    ):
        here[str(item)] = quantity
        reserved[str(item)] = promised
    return {"cents_by_account": accounts, "here_by_item": here, "reserved_by_item": reserved}
