"""The highest number of each table: by them one tells whether one database has newer entries."""

from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import connection, models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Max
from django.utils.translation import gettext_lazy as _

# What tells an entry of another house, which has the same number. Nobody changes it later.
TOLD_BY = (("inventory_posting", "idempotency_key"), ("auditlog_logentry", "timestamp"))


@dataclass(frozen=True)
class LastEntry:
    """The last row of a table, as the database keeps it."""

    table: str
    column: str
    pk: int
    value: Any


# What comes and goes without anybody entering something, or is noted of this machine.
APART = {
    "accounts.pintries",
    "accounts.signin",
    "accounts.user_groups",
    "accounts.user_user_permissions",
    "admin.logentry",
    "auth.group_permissions",
    "auth.permission",
    "axes.accessattempt",
    "axes.accessattemptexpiration",
    "contenttypes.contenttype",
    "inventory.longwork",
    "inventory.seal",
    "keeping.backup",
    "keeping.rowchange",
    "keeping.sharedkeyandfiles",
}

# What Django would call several of them is no English.
NAMES = {
    "billing.adjustmenttax": _("taxes of adjustments"),
    "billing.closedstock": _("closed stock"),
    "billing.closedstockline": _("lines of closed stock"),
    "billing.entry": _("entries of the books"),
    "billing.invoicelinetax": _("taxes of invoice lines"),
    "billing.marketdayentry": _("entries of market days"),
    "billing.standlatecash": _("late cash at stands"),
    "inventory.changedpieces": _("changed pieces"),
    "inventory.goodsmade": _("goods made"),
    "inventory.returnedjars": _("returned jars"),
    "orders.consignmentdelivery": _("consignment deliveries"),
    "orders.recall_lots": _("lots of recalls"),
    "orders.recallact_lots": _("lots of acts of recalls"),
}


def marked() -> list[type[models.Model]]:
    """Return the models whose rows are numbered one after the other."""
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if isinstance(model._meta.pk, models.AutoField | models.BigAutoField)
        and model._meta.label_lower not in APART
        and not getattr(model, "is_derived", False)
    ]


def read(using: str = "default") -> dict[str, int]:
    """Return the highest number of each table that has rows, as the database is now."""
    tables = set(connection.introspection.table_names())
    found = {
        model._meta.db_table: model._base_manager.using(using).aggregate(last=Max("pk"))["last"]
        for model in marked()
        if model._meta.db_table in tables
    }
    return {table: last for table, last in found.items() if last is not None}


def newer(here: dict[str, int], copy: dict[str, int]) -> dict[str, int]:
    """Return how many newer entries each table here has than the copy."""
    return {
        table: last - copy.get(table, 0)
        for table, last in here.items()
        if last > copy.get(table, 0)
    }


def last_entries() -> list[LastEntry]:
    """Return the last entry of the stock and of the record of changes."""
    tables = set(connection.introspection.table_names())
    found = []
    for table, column in TOLD_BY:
        if table in tables:
            with connection.cursor() as cursor:
                cursor.execute(f"SELECT id, {column} FROM {table} ORDER BY id DESC LIMIT 1")
                found += [LastEntry(table, column, pk, value) for pk, value in cursor.fetchall()]
    return found


def has_entry(entry: LastEntry, copy: BaseDatabaseWrapper) -> bool:
    """Tell whether another database of the same kind has this entry."""
    with copy.cursor() as cursor:
        cursor.execute(
            f"SELECT 1 FROM {entry.table} WHERE id = %s AND {entry.column} = %s",
            [entry.pk, entry.value],
        )
        return cursor.fetchone() is not None


def words(tables: dict[str, int]) -> list[str]:
    """Say what is newer in people's words, the most first."""
    names = {
        model._meta.db_table: NAMES.get(model._meta.label_lower, model._meta.verbose_name_plural)
        for model in marked()
    }
    ordered = sorted(tables.items(), key=lambda pair: -pair[1])
    return [f"{names.get(table, table)}: {count:,}" for table, count in ordered]
