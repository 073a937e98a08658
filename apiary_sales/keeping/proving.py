"""Prove that a backup can be restored: load it beside the house's own data and check the books."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.utils.translation import gettext as _

from apiary_sales.keeping import archive, beside, snapshots
from apiary_sales.keeping.archive import Manifest
from inventory.shared.errors import BadValue

VENDORS = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}


def check_version(manifest: Manifest) -> None:
    """Raise `BadValue` for a backup that this version can't read, or of another kind of database.

    One of an earlier version is fine: it is brought up to date before its books are proved.
    """
    if manifest.vendor != connection.vendor:
        raise BadValue(_other_kind(manifest.vendor), parameter="file")
    loader = MigrationLoader(None)
    unknown = [
        (app, name)
        for app, name in manifest.migrations
        if app in loader.migrated_apps
        and (app, name) not in loader.disk_migrations
        # One that took the place of others is named in the database, and so are they.
        and not any((app, name) in other.replaces for other in loader.disk_migrations.values())
    ]
    if unknown:
        raise BadValue(
            _(
                "This backup was made by a later version of the service: %(version)s. Install "
                "that version, and restore it there."
            )
            % {"version": manifest.version},
            parameter="file",
        )


def _other_kind(vendor: str) -> str:
    """Say how a backup of another kind of database comes into this one."""
    if connection.vendor == "postgresql":
        text = _(
            "This backup is of a %(theirs)s database, and DATABASE_URL here leads to %(ours)s. "
            "Restore it where DATABASE_URL leads to %(theirs)s, then run manage.py "
            "move_database."
        )
    else:
        text = _(
            "This backup is of a %(theirs)s database, and DATABASE_URL here leads to %(ours)s. "
            "Restore it where DATABASE_URL leads to %(theirs)s, write the house into a file there "
            "with manage.py export_house, and bring that in here with manage.py import_house."
        )
    names = {"theirs": VENDORS.get(vendor, vendor), "ours": VENDORS[connection.vendor]}
    return text % names


@contextmanager
def proved(manifest: Manifest, folder: Path) -> Iterator[str]:
    """Load an unpacked backup beside the house's database, prove its books, and yield its name.

    It is removed at the end, unless it was put in the place of the house's own. Raises `BadValue`
    where the books are wrong.
    """
    check_version(manifest)
    with snapshots.database().beside(folder / archive.DATABASE) as name:
        done = beside.run(name, "migrate", "verify_ledger --all")
        if done.returncode:
            said = " ".join((done.stderr or done.stdout).split())[-1000:]
            raise BadValue(
                _("The books in this backup could not be proved: %(reason)s") % {"reason": said},
                parameter="file",
            )
        yield name
