"""Take a whole copy of the database while it is in use, and put one in its place.

SQLite copies itself by its online backup: one reading transaction, which sees what was committed
when it began and keeps no writer waiting. PostgreSQL is copied by its own program `pg_dump`, which
does the same; its copy is put back into a fresh database on the same server, so that nothing of the
old one has to be emptied first.
"""

import os
import re
import shutil
import sqlite3
import subprocess
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager, suppress
from datetime import datetime
from itertools import count
from pathlib import Path
from typing import Any

from django.db import connection, connections
from django.utils.translation import gettext as _

from apiary_sales.keeping import torn_files
from inventory.shared.errors import BadValue, NotAllowedNow

# Where Debian keeps the programs of each version; the usual one may be of an older version.
INSTALLED = Path("/usr/lib/postgresql")
STAMP = "%Y%m%dT%H%M%S"
# By what one finds the server that takes writes where DATABASE_URL names several, and how
# PostgreSQL's own programs are told.
OF_SEVERAL_SERVERS = {
    "target_session_attrs": "PGTARGETSESSIONATTRS",
    "connect_timeout": "PGCONNECT_TIMEOUT",
}


def first_free(name: str, is_taken: Callable[[str], bool]) -> str:
    """Return the name, or the first with a number behind it that nothing has.

    Two restores within one second each keep what they replaced.
    """
    names = (name if number == 1 else f"{name}-{number}" for number in count(1))
    return next(each for each in names if not is_taken(each))


def kept_beside(path: Path, now: datetime) -> Path:
    """Return the path under which a restore keeps what was at this one."""
    name = f"{path.name}.before-restore-{now:{STAMP}}"
    return path.with_name(first_free(name, lambda each: path.with_name(each).exists()))


class Database(ABC):
    """The house's database, as far as copying and replacing it goes."""

    vendor: str

    @property
    @abstractmethod
    def name(self) -> str:
        """Return what people call it."""

    @abstractmethod
    def size_bytes(self) -> int:
        """Return how much it takes on the disk."""

    @abstractmethod
    def copy_to(self, target: Path) -> None:
        """Write a copy of what is committed now into a new file."""

    @abstractmethod
    def beside(self, copy: Path) -> AbstractContextManager[str]:
        """Load a copy into a database beside the house's own, yield its name, and remove it."""

    @abstractmethod
    def swap(self, beside: str, now: datetime) -> str:
        """Put the database of this name in the place of the house's own.

        Return the name of the old one, which is kept; nothing for one that is an empty file, which
        goes. Raises `NotAllowedNow` while it is in use.
        """

    def set_torn_log_aside(self, now: datetime) -> str:
        """Keep a log that does not belong to the database under another name; return that.

        Return nothing where there is none. Call it before anything opens the database.
        """
        return ""


def database() -> Database:
    return SQLite() if connection.vendor == "sqlite" else PostgreSQL()


class SQLite(Database):
    vendor = "sqlite"

    @property
    def path(self) -> Path:
        return Path(connection.settings_dict["NAME"])

    @property
    def name(self) -> str:
        return str(self.path)

    def size_bytes(self) -> int:
        beside = (self.path.with_name(self.path.name + end) for end in ("", "-wal"))
        return sum(path.stat().st_size for path in beside if path.exists())

    def copy_to(self, target: Path) -> None:
        with (
            closing(sqlite3.connect(self.path, timeout=60)) as source,
            closing(sqlite3.connect(target)) as copy,
        ):
            # All pages in one step: in several, each writer in between would begin it anew.
            source.backup(copy)
            # One file, without a log beside it.
            copy.execute("PRAGMA journal_mode=DELETE")

    @contextmanager
    def beside(self, copy: Path) -> Iterator[str]:
        target = self.path.with_name(f"{self.path.name}.beside-{os.getpid()}")
        _remove(target)
        try:
            # Not moved: the archive's folder may be on another disk.
            shutil.copyfile(copy, target)
            target.chmod(0o600)
            _check_whole(target)
            yield str(target)
        finally:
            _remove(target)

    def swap(self, beside: str, now: datetime) -> str:
        old = kept_beside(self.path, now)
        connections.close_all()
        _one_file(Path(beside))
        if self.path.exists():
            self._close()
            if _has_tables(self.path):
                self.path.rename(old)
        try:
            Path(beside).rename(self.path)
        except OSError:
            # A start that finds no database would make an empty one.
            if old.exists():
                old.rename(self.path)
            raise
        _sync(self.path.parent)
        return str(old) if old.exists() else ""

    def set_torn_log_aside(self, now: datetime) -> str:
        connections.close_all()
        if not torn_files.fault(self.path):
            return ""
        kept = ""
        for path in torn_files.beside(self.path):
            aside = kept_beside(path, now)
            path.rename(aside)
            kept = kept or str(aside)
        return kept

    def _close(self) -> None:
        """Write the log beside the database into it, which works for its only user alone."""
        try:
            _one_file(self.path)
        except sqlite3.OperationalError as error:
            raise NotAllowedNow(
                _(
                    "The database is in use (%(reason)s). Stop the service first. Nothing was "
                    "changed."
                )
                % {"reason": error}
            ) from error
        except sqlite3.DatabaseError:
            # What can't be read is kept as it is, with its log.
            for end in ("-wal", "-shm"):
                beside = self.path.with_name(self.path.name + end)
                with suppress(FileNotFoundError):
                    beside.rename(beside.with_name(f"{beside.name}.damaged"))


def _one_file(path: Path) -> None:
    """Bring a database out of the mode that keeps a log in files beside it."""
    with closing(sqlite3.connect(path, timeout=5)) as alone:
        alone.execute("PRAGMA journal_mode=DELETE")


def _check_whole(path: Path) -> None:
    """Raise `BadValue` where pages of a database are damaged.

    The copy of a damaged database has the same damage, also where no balance is worked out from it.
    """
    try:
        with closing(sqlite3.connect(path)) as opened:
            [(said,)] = opened.execute("PRAGMA integrity_check(1)").fetchall()
    except sqlite3.DatabaseError as error:
        said = str(error)
    if said != "ok":
        raise BadValue(
            _(
                "The database in this backup is damaged (%(reason)s). An earlier backup may be "
                "whole; keep it."
            )
            % {"reason": " ".join(said.split())},
            parameter="file",
        )


def _has_tables(path: Path) -> bool:
    """Tell whether something is in a database; one that can't be read may hold anything."""
    try:
        with closing(sqlite3.connect(path)) as opened:
            return opened.execute("SELECT 1 FROM sqlite_master").fetchone() is not None
    except sqlite3.DatabaseError:
        return True


def _remove(database: Path) -> None:
    for end in ("", "-wal", "-shm", "-journal"):
        database.with_name(database.name + end).unlink(missing_ok=True)


def _sync(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class PostgreSQL(Database):
    vendor = "postgresql"

    @property
    def name(self) -> str:
        return str(connection.settings_dict["NAME"])

    def size_bytes(self) -> int:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_database_size(current_database())")
            return int(cursor.fetchone()[0])

    def copy_to(self, target: Path) -> None:
        options = ["--format=custom", "--no-owner", "--no-privileges", f"--file={target}"]
        self._run("pg_dump", options, self.name)

    @contextmanager
    def beside(self, copy: Path) -> Iterator[str]:
        from psycopg import errors, sql

        name = f"{self.name}_beside"
        with self._maintenance() as server:
            try:
                # What a restore that was interrupted has left.
                server.execute(sql.SQL("DROP DATABASE IF EXISTS {}").format(sql.Identifier(name)))
                server.execute(
                    sql.SQL("CREATE DATABASE {} TEMPLATE template0 ENCODING 'UTF8'").format(
                        sql.Identifier(name)
                    )
                )
            except errors.InsufficientPrivilege as error:
                raise NotAllowedNow(
                    _(
                        "The books are proved in a database beside the house's own, which %(user)s "
                        "may not make. Allow it as the administrator of PostgreSQL: "
                        'ALTER ROLE "%(user)s" CREATEDB.'
                    )
                    % {"user": connection.settings_dict["USER"]}
                ) from error
        try:
            options = ["--no-owner", "--no-privileges", "--exit-on-error", f"--dbname={name}"]
            self._run("pg_restore", [*options, str(copy)], name, names_database=False)
            yield name
        finally:
            with self._maintenance() as server:
                server.execute(sql.SQL("DROP DATABASE IF EXISTS {}").format(sql.Identifier(name)))

    def swap(self, beside: str, now: datetime) -> str:
        from psycopg import errors, sql

        rename = sql.SQL("ALTER DATABASE {} RENAME TO {}")
        name = self.name
        connections.close_all()
        with self._maintenance() as server:
            there = {row[0] for row in server.execute("SELECT datname FROM pg_database")}
            old = first_free(f"{name}_before_{now:{STAMP}}".lower(), there.__contains__)
            try:
                server.execute(rename.format(sql.Identifier(name), sql.Identifier(old)))
            except errors.ObjectInUse as error:
                raise NotAllowedNow(
                    _(
                        "Somebody is using the database. Stop the service on every machine first. "
                        "Nothing was changed."
                    )
                ) from error
            try:
                server.execute(rename.format(sql.Identifier(beside), sql.Identifier(name)))
            except errors.Error:
                server.execute(rename.format(sql.Identifier(old), sql.Identifier(name)))
                raise
        return old

    @contextmanager
    def _maintenance(self) -> Iterator[Any]:
        """Connect to the server, but to none of the house's databases: those are renamed."""
        import psycopg

        values = connection.get_connection_params()
        wanted = {
            name: values[name]
            for name in ("host", "port", "user", "password", "sslmode", *OF_SEVERAL_SERVERS)
            if values.get(name)
        }
        with psycopg.connect(**wanted, dbname="postgres", autocommit=True) as server:
            yield server

    def _run(
        self, program: str, options: list[str], name: str, *, names_database: bool = True
    ) -> None:
        from django.db.backends.postgresql.client import DatabaseClient

        wanted = {**connection.settings_dict, "NAME": name}
        arguments, added = DatabaseClient.settings_to_cmd_args_env(wanted, [])
        # The last argument is the database, where there is one.
        connects = arguments[1:] if names_database else arguments[1:-1]
        for option, variable in OF_SEVERAL_SERVERS.items():
            if value := wanted["OPTIONS"].get(option):
                added = {**(added or {}), variable: str(value)}
        done = subprocess.run(
            [self._program(program), *options, *connects],
            env={**os.environ, **(added or {})},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            cwd="/",
        )
        if done.returncode:
            raise NotAllowedNow(
                _("%(program)s failed: %(reason)s")
                % {"program": program, "reason": " ".join(done.stderr.split())[-500:]}
            )

    def _program(self, name: str) -> str:
        """Return the newest program of this name; a copy needs one no older than the server."""
        found = set(INSTALLED.glob(f"*/bin/{name}"))
        if usual := shutil.which(name):
            found.add(Path(usual))
        if not found:
            raise NotAllowedNow(
                _(
                    "%(program)s is not on this machine: install the client programs of "
                    "PostgreSQL %(version)s (Debian: apt-get install postgresql-client)."
                )
                % {"program": name, "version": self._server_version()}
            )
        versions = {_major(path): path for path in found}
        newest = max(versions)
        if newest < self._server_version():
            raise NotAllowedNow(
                _(
                    "%(program)s on this machine is of version %(found)s, and the server of "
                    "%(version)s. Install the client programs of PostgreSQL %(version)s."
                )
                % {"program": name, "found": newest, "version": self._server_version()}
            )
        return str(versions[newest])

    def _server_version(self) -> int:
        with connection.cursor() as cursor:
            cursor.execute("SHOW server_version_num")
            return int(cursor.fetchone()[0]) // 10_000


def _major(program: Path) -> int:
    said = subprocess.run([program, "--version"], capture_output=True, text=True).stdout
    found = re.search(r"(\d+)", said)
    return int(found[1]) if found else 0
