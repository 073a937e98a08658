"""Write the whole house into one file that is readable without the program: see `exported`."""

import csv
import hashlib
import io
import json
import os
import shutil
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from django.conf import settings
from django.db import connections, models
from django.utils import timezone

from apiary_sales import __version__
from apiary_sales.keeping import export_readme, tables
from apiary_sales.keeping.exported import (
    COLUMNS_LEFT_OUT,
    FILES,
    FORMAT,
    FORMAT_VERSION,
    MANIFEST,
    README,
    TABLES_LEFT_OUT,
    content_name,
    exported_columns,
    exported_tables,
    file_of,
)
from apiary_sales.keeping.one_state import snapshot
from apiary_sales.keeping.tables import Row, StoredTable
from inventory.shared.csv_files import UTF_8_MARK
from inventory.shared.models import House
from inventory.shared.models.files import private_storage

CHUNK_BYTES = 1 << 20
ROWS_BETWEEN_TOLD = 200

Told = Callable[[int, int], None]


@dataclass
class Exported:
    """An export that was written: where, what is in it, and which attached files are not there."""

    path: Path
    rows: int = 0
    files: int = 0
    missing: list[str] = field(default_factory=list)


def export_house(path: Path, *, told: Told = lambda done, total: None) -> Exported:
    """Write the house as it is now; others may go on working. `told` hears what is done of all.

    The file appears when it is whole, readable by the user of the service alone.
    """
    with snapshot() as using:
        return write(path, using=using, told=told)


def write(path: Path, *, using: str, told: Told = lambda done, total: None) -> Exported:
    """Write the house as this connection sees it."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    unfinished = path.with_name(f"{path.name}.part")
    try:
        descriptor = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with (
            os.fdopen(descriptor, "wb") as opened,
            zipfile.ZipFile(opened, "w", zipfile.ZIP_DEFLATED) as archive,
        ):
            made = _Writer(archive, using, told).write(path)
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
    return made


class _Writer:
    def __init__(self, archive: zipfile.ZipFile, using: str, told: Told) -> None:
        self.archive = archive
        self.using = using
        self.told = told
        self.moment = timezone.now().replace(microsecond=0)
        self.written: dict[str, dict[str, Any]] = {}
        self.done = 0

    def write(self, path: Path) -> Exported:
        found = exported_tables()
        rows = {table.label: table.count(self.using) for table in found}
        self.total = sum(rows.values())
        made = Exported(path, rows=self.total)
        in_manifest = [self._table(table) for table in found]
        for table in found:
            self._contents(table)
        for name in self._names_of_files(found):
            if not self._copy(name):
                made.missing.append(name)
        self._readme(rows)
        made.files = sum(name.startswith(FILES) for name in self.written)
        self._manifest(in_manifest, made.missing)
        return made

    def _table(self, table: StoredTable) -> dict[str, Any]:
        columns = exported_columns(table)
        positions = [table.columns.index(column) for column in columns]
        name, count = file_of(table.model), 0
        with self._file(name) as raw, io.TextIOWrapper(raw, "utf-8", newline="") as text:
            text.write(UTF_8_MARK)
            writer = csv.writer(text)
            writer.writerow([column.name for column in columns])
            for row in table.rows(self.using):
                writer.writerow([self._cell(table, row, position) for position in positions])
                count += 1
                self._one_done()
        return {
            "table": table.label,
            "file": name,
            "columns": [column.name for column in columns],
            "rows": count,
        }

    def _cell(self, table: StoredTable, row: Row, position: int) -> str:
        column, value = table.columns[position], row[position]
        if column.is_binary and value is not None:
            return content_name(table, row[0], bytes(value))
        return column.text(value)

    def _contents(self, table: StoredTable) -> None:
        """Write what a table keeps as bytes, a file a row."""
        positions = [at for at, column in enumerate(table.columns) if column.is_binary]
        if not positions:
            return
        for row in table.rows(self.using):
            for position in positions:
                if row[position] is not None:
                    content = bytes(row[position])
                    with self._file(content_name(table, row[0], content)) as target:
                        target.write(content)

    def _names_of_files(self, found: list[StoredTable]) -> Iterator[str]:
        names: set[Any] = set()
        for table in found:
            for column in table.columns:
                if isinstance(column.field, models.FileField):
                    stored: models.QuerySet[Any] = models.QuerySet(table.model, using=self.using)
                    names.update(stored.values_list(column.name, flat=True))
        yield from sorted(names - {"", None})

    def _copy(self, name: str) -> bool:
        """Copy an attached file; return whether it is there."""
        storage = private_storage()
        try:
            source = storage.open(name, "rb")
        except FileNotFoundError:
            return False
        with source, self._file(f"{FILES}{name}") as target:
            shutil.copyfileobj(source, target, CHUNK_BYTES)
        return True

    def _readme(self, rows: dict[str, int]) -> None:
        house = House.objects.using(self.using).first()
        text = export_readme.text(
            house=house.name if house else "A house without a name",
            moment=self.moment.isoformat(),
            version=__version__,
            rows=rows,
            language=house.language if house else "en",
        )
        with self._file(README) as target:
            target.write(text.encode())

    def _manifest(self, in_manifest: list[dict[str, Any]], missing: list[str]) -> None:
        manifest = {
            "format": FORMAT,
            "format_version": FORMAT_VERSION,
            "version": __version__,
            "made_at": self.moment.isoformat(),
            "database": connections[self.using].vendor,
            "time_zone": settings.TIME_ZONE,
            "migrations": tables.migrations(),
            "tables": in_manifest,
            "files": self.written,
            "files_missing": missing,
            "left_out": {
                **TABLES_LEFT_OUT,
                **{f"{t}.{column}": why for (t, column), (why, _) in COLUMNS_LEFT_OUT.items()},
            },
            "sums": tables.sums(self.using),
        }
        with self.archive.open(self._entry(MANIFEST), "w") as target:
            target.write(json.dumps(manifest, ensure_ascii=False, indent=1).encode())

    @contextmanager
    def _file(self, name: str) -> Iterator[IO[bytes]]:
        """Open a file of the zip, and write down its length and SHA-256."""
        with self.archive.open(self._entry(name), "w", force_zip64=True) as opened:
            hashing = _Hashing(opened)
            yield hashing  # type: ignore[misc]
        self.written[name] = {"bytes": hashing.length, "sha256": hashing.digest.hexdigest()}

    def _entry(self, name: str) -> zipfile.ZipInfo:
        moment: datetime = timezone.localtime(self.moment)
        entry = zipfile.ZipInfo(name, moment.timetuple()[:6])
        entry.compress_type = zipfile.ZIP_DEFLATED
        entry.external_attr = 0o600 << 16
        return entry

    def _one_done(self) -> None:
        self.done += 1
        if self.done % ROWS_BETWEEN_TOLD == 0 or self.done == self.total:
            self.told(self.done, self.total)


class _Hashing(io.RawIOBase):
    """A file that is only written to, and hashes what passes through."""

    def __init__(self, target: IO[bytes]) -> None:
        self.target = target
        self.digest = hashlib.sha256()
        self.length = 0

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self.target.write(data)
        self.digest.update(data)
        self.length += len(data)
        return len(data)
