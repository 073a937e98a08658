"""Bring an export of a house into an empty database, and prove that it is the same house."""

import csv
import hashlib
import io
import json
import os
import shutil
import sys
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.sql import emit_post_migrate_signal
from django.db import DEFAULT_DB_ALIAS, DatabaseError

from apiary_sales import __version__
from apiary_sales.keeping import books, rebuild, tables, triggers
from apiary_sales.keeping.exported import (
    COLUMNS_LEFT_OUT,
    FILES,
    FORMAT,
    FORMAT_VERSION,
    MANIFEST,
    exported_tables,
)
from apiary_sales.keeping.tables import CannotCopy, Row, StoredTable
from inventory.shared import conventions

CHUNK_BYTES = 1 << 20
# The cell of a long record is longer than the csv module expects.
CELL_CHARACTERS_MAX = sys.maxsize

Told = Callable[[int, int], None]


class CannotBringIn(Exception):
    """The house does not come in, and nothing was changed; the text says why and what to do."""


@dataclass(frozen=True)
class BroughtIn:
    """A house that came in."""

    version: str
    made_at: str
    time_zone: str
    rows: int
    files: int
    missing: tuple[str, ...]


def import_house(path: Path, *, told: Told = lambda done, total: None) -> BroughtIn:
    """Bring the house of an export into this empty one, whole or not at all.

    Raises `CannotBringIn` for a file that is no export, is damaged or of another version, for a
    house that is not empty, and where the books that came in are not what the export says.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = _manifest(archive)
            _check_version(manifest)
            _check_files(archive, manifest)
            return _bring_in(archive, manifest, told)
    except (zipfile.BadZipFile, EOFError) as error:
        raise CannotBringIn(f"{path} is no export of a house, or is damaged: {error}.") from error
    except DatabaseError as error:
        raise CannotBringIn(f"The database refused: {' '.join(str(error).split())}.") from error
    finally:
        conventions.read_again()


def _manifest(archive: zipfile.ZipFile) -> dict[str, Any]:
    try:
        manifest = json.loads(archive.read(MANIFEST))
    except (KeyError, ValueError) as error:
        raise CannotBringIn(
            f"The file has no {MANIFEST}, so it is no export of a house."
        ) from error
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise CannotBringIn(f"Its {MANIFEST} is not that of an export of a house.")
    return manifest


def _check_version(manifest: Mapping[str, Any]) -> None:
    version = str(manifest.get("version"))
    if manifest.get("format_version") != FORMAT_VERSION:
        raise CannotBringIn(
            f"The export is written in a way that version {__version__} does not know: it was made "
            f"by version {version}. Install that version and bring it in there."
        )
    if manifest.get("migrations") == tables.migrations():
        return
    if _numbers(version) > _numbers(__version__):
        raise CannotBringIn(
            f"The export was made by version {version}, which is later than {__version__}. Install "
            f"version {version} or a later one, and bring it in there."
        )
    raise CannotBringIn(
        f"The export was made by version {version}, whose tables were others than those of "
        f"{__version__}. Check out version {version}, bring it in there into an empty database, "
        "and then upgrade that database as the README says under Upgrade."
    )


def _numbers(version: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in version.split("."))
    except ValueError:
        raise CannotBringIn(f"The export was made by an unknown version: {version}.") from None


def _check_files(archive: zipfile.ZipFile, manifest: Mapping[str, Any]) -> None:
    """Compare every file with its SHA-256, before the first row is written."""
    there = set(archive.namelist()) - {MANIFEST}
    listed = set(manifest["files"])
    if missing := sorted(listed - there):
        raise CannotBringIn(f"The export is not whole: {missing[0]} is missing.")
    if unknown := sorted(there - listed):
        raise CannotBringIn(f"The export has a file that its manifest does not name: {unknown[0]}.")
    for name, said in manifest["files"].items():
        digest = hashlib.sha256()
        with archive.open(name) as opened:
            for chunk in iter(lambda: opened.read(CHUNK_BYTES), b""):
                digest.update(chunk)
        if digest.hexdigest() != said["sha256"]:
            raise CannotBringIn(
                f"{name} is not as it was exported: its SHA-256 is another one. Use an undamaged "
                "copy of the export."
            )


def _bring_in(archive: zipfile.ZipFile, manifest: Mapping[str, Any], told: Told) -> BroughtIn:
    using = DEFAULT_DB_ALIAS
    in_manifest = {entry["table"]: entry for entry in manifest["tables"]}
    found = exported_tables()
    if differing := {table.label for table in found} ^ set(in_manifest):
        raise CannotBringIn(f"The export and this version differ in a table: {min(differing)}.")
    total = sum(entry["rows"] for entry in in_manifest.values())
    done = 0

    def some_done(count: int) -> None:
        nonlocal done
        done += count
        told(done, total)

    if not tables.is_of_this_version(using):
        raise CannotBringIn(
            "This database is of another version of the service: use a new one, or run "
            "manage.py migrate."
        )
    with _files_of(archive) as files, triggers.lifted(using):
        if label := tables.not_empty(using):
            raise CannotBringIn(
                f"This database has a house in it already ({label} has rows). An export comes into "
                "an empty one only: give it a place of its own, for example DATA_DIR=/srv/honey-2."
            )
        tables.clear_what_migrate_made(using)
        for table in found:
            _table(archive, table, in_manifest[table.label], using, some_done)
        try:
            tables.finish(using)
        except DatabaseError as error:
            raise CannotBringIn(f"A row points at one that is not there: {error}.") from error
        conventions.read_again()
        _prove(manifest, using)
        rebuild.rebuild()
    # Give what the roles may do by the code of today.
    emit_post_migrate_signal(verbosity=0, interactive=False, db=using)
    return BroughtIn(
        version=manifest["version"],
        made_at=manifest["made_at"],
        time_zone=manifest["time_zone"],
        rows=total,
        files=files,
        missing=tuple(manifest["files_missing"]),
    )


def _table(
    archive: zipfile.ZipFile,
    table: StoredTable,
    entry: Mapping[str, Any],
    using: str,
    told: Callable[[int], None],
) -> None:
    try:
        written = table.insert(_rows(archive, table, entry), using, told)
    except CannotCopy as error:
        raise CannotBringIn(f"A row can't be written. {error}") from error
    if written != entry["rows"]:
        raise CannotBringIn(
            f"{entry['file']} has {written} rows; its manifest says {entry['rows']}."
        )


def _rows(archive: zipfile.ZipFile, table: StoredTable, entry: Mapping[str, Any]) -> Iterator[Row]:
    csv.field_size_limit(CELL_CHARACTERS_MAX)
    name = entry["file"]
    with archive.open(name) as raw, io.TextIOWrapper(raw, "utf-8-sig", newline="") as text:
        lines = csv.reader(text)
        header = next(lines, [])
        wanted = {column.name for column in table.columns}
        given = {
            key[1]: value for key, (_, value) in COLUMNS_LEFT_OUT.items() if key[0] == table.label
        }
        if set(header) | set(given) != wanted:
            raise CannotBringIn(f"{name} has other columns than this version.")
        at = {column: position for position, column in enumerate(header)}
        for cells in lines:
            try:
                yield tuple(
                    given[column.name]
                    if column.name in given
                    else archive.read(cells[at[column.name]])
                    if column.is_binary and cells[at[column.name]]
                    else column.value(cells[at[column.name]])
                    for column in table.columns
                )
            except (ValueError, ValidationError, IndexError, KeyError) as error:
                raise CannotBringIn(
                    f"{name}, line {lines.line_num}: a cell can't be read ({error})."
                ) from error


def _prove(manifest: Mapping[str, Any], using: str) -> None:
    """Raise `CannotBringIn` unless the books are right, and add up to what the export says."""
    found = tables.sums(using)
    for what, said in manifest["sums"].items():
        for name in sorted(said.keys() | found[what].keys()):
            if said.get(name) != found[what].get(name):
                raise CannotBringIn(
                    f"The books do not add up to what the export says: {what}, {name} is "
                    f"{found[what].get(name)} and should be {said.get(name)}."
                )
    for fault in books.faults():
        raise CannotBringIn(f"The books that came in are wrong: {fault}")


@contextmanager
def _files_of(archive: zipfile.ZipFile) -> Iterator[int]:
    """Write the attached files of an export; take them away again where the block fails."""
    folder = Path(settings.FILES_DIR)
    names = [name for name in archive.namelist() if name.startswith(FILES)]
    written: list[Path] = []
    try:
        for name in names:
            bare = name.removeprefix(FILES)
            if Path(bare).name != bare or bare.startswith("."):
                raise CannotBringIn(
                    f"The export has a file with a name that is not allowed: {name}."
                )
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            target = folder / bare
            try:
                descriptor = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            except FileExistsError:
                raise CannotBringIn(
                    f"{target} is there already. Give this house an empty FILES_DIR."
                ) from None
            written.append(target)
            with os.fdopen(descriptor, "wb") as opened, archive.open(name) as source:
                shutil.copyfileobj(source, opened, CHUNK_BYTES)
        yield len(names)
    except BaseException:
        for target in written:
            with suppress(OSError):
                target.unlink()
        raise
