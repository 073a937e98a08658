"""A full house of the newest version with a dump, and its export."""

import pickle
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from django.apps import apps
from django.contrib.contenttypes.models import ContentType

from inventory.shared import conventions
from tests.upgrade import databases

EXPORT = """
import pickle
from pathlib import Path
from django.core.management import call_command
from tests.keeping.whole_house import all_rows
call_command("migrate", verbosity=0, interactive=False)
call_command("export_house", {path!r})
Path({rows!r}).write_bytes(pickle.dumps(all_rows()))
"""
# The dump has two attached files by these names.
FILES = {f"{number:032x}": f"file {number}".encode() for number in (1, 2)}


def all_rows() -> dict[str, list[dict[str, Any]]]:
    """Return all rows as Django reads them, by model; tables that are derived are left out."""
    found = {}
    for model in apps.get_models(include_auto_created=True):
        if not model._meta.proxy and not getattr(model, "is_derived", False):
            rows = model._base_manager.order_by("pk").values()
            found[model._meta.label] = [
                {
                    name: bytes(value) if isinstance(value, memoryview) else value
                    for name, value in row.items()
                }
                for row in rows
            ]
    return found


class FullHouse(NamedTuple):
    database: Path
    export: Path
    rows: dict[str, list[dict[str, Any]]]


@pytest.fixture(scope="session")
def full_house(tmp_path_factory) -> FullHouse:
    """Return a SQLite database with a row or more in every table, and its export."""
    folder = tmp_path_factory.mktemp("full-house")
    database, export, rows = (folder / name for name in ("honey.sqlite3", "house.zip", "rows"))
    newest = databases.versions("sqlite")[-1]
    databases.load_sqlite(databases.dump_path(newest, "sqlite").read_text("utf-8"), database)
    (folder / "files").mkdir()
    for name, content in FILES.items():
        (folder / "files" / name).write_bytes(content)
    made = databases.run(
        EXPORT.format(path=str(export), rows=str(rows)),
        data_dir=folder,
        database_url=databases.sqlite_url(database),
    )
    assert made.returncode == 0, made.stderr
    return FullHouse(database, export, pickle.loads(rows.read_bytes()))


@pytest.fixture
def empty_house(db, settings, tmp_path):
    """Have an empty house to bring another into; forget afterwards what came in."""
    settings.FILES_DIR = tmp_path / "files"
    yield
    ContentType.objects.clear_cache()
    conventions.read_again()
