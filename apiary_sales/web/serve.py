"""Serve the site: what the commands `serve` and `demo` share.

A start is `prepare`, which refuses what is unsafe and makes the data ready, and then `run`.
"""

import logging
import os
import shlex
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, ip_address
from multiprocessing.connection import Connection
from pathlib import Path
from urllib.parse import urlsplit

import waitress
from django.conf import settings
from django.core.checks.security.base import (
    SECRET_KEY_MIN_LENGTH,
    SECRET_KEY_MIN_UNIQUE_CHARACTERS,
)
from django.core.handlers.wsgi import WSGIHandler
from django.core.management import call_command
from django.db import DatabaseError, connection, connections
from django.db.migrations.executor import MigrationExecutor
from django.http.request import validate_host
from waitress.server import TcpWSGIServer

from apiary_sales.accounts import hashing
from apiary_sales.keeping import in_use, log_files, snapshots, torn_files
from apiary_sales.keeping.services import backups, machines
from apiary_sales.web import arrival, processes
from apiary_sales.web.background import BackgroundWorker
from apiary_sales.web.lanes import ALL, Lanes
from apiary_sales.web.processes import ServingPart
from inventory.shared import garbage, print_room, static_files
from inventory.shared.errors import NotAllowedNow

logger = logging.getLogger(__name__)

# Of one process that answers alone, and of each of several. With two more for passwords and what
# takes long, four processes keep 32 connections to the database; it usually takes 100.
THREADS, THREADS_OF_SEVERAL = 8, 6
# Usually as many as there are cores, and at most so many.
PROCESSES_USUAL, PROCESSES_MAX = 4, 8

# X-Forwarded-Host is not among them: nginx passes on what the visitor wrote there. The proxy keeps
# the visitor's Host header instead, and ALLOWED_HOSTS judges it.
TRUSTED_HEADERS = ["x-forwarded-for", "x-forwarded-proto"]


class CannotServe(Exception):
    """The service does not start; the text says why and what to do, one sentence a reason."""


class PortNotFree(CannotServe):
    """The port is taken, or may not be used; the text is the reason of the operating system."""


@dataclass(frozen=True)
class Address:
    """Where the service listens: an IP address of this machine and a port."""

    ip: IPv4Address | IPv6Address
    port: int

    @classmethod
    def parse(cls, text: str) -> "Address":
        """Read `127.0.0.1:8000` or `[::1]:8000`. Raises `CannotServe`.

        Names are not taken: `localhost` may be two addresses, of which a proxy would reach one.
        """
        host, _, port = text.rpartition(":")
        try:
            address = cls(ip_address(host.removeprefix("[").removesuffix("]")), int(port))
            if not 0 <= address.port <= 65_535:
                raise ValueError
        except ValueError:
            raise CannotServe(
                f"{text!r} is not an address to listen at: give an IP address and a port, for "
                "example 127.0.0.1:8000 or [::1]:8000."
            ) from None
        return address

    def __str__(self) -> str:
        return f"[{self.ip}]:{self.port}" if self.ip.version == 6 else f"{self.ip}:{self.port}"


def prepare(address: Address, say: Callable[[str], None] | None = None) -> socket.socket:
    """Make everything ready to serve at this address, and return the open port for `run`.

    The port is taken before the data is touched: of two services that are started at once, one
    stops here. `say` is told what takes long. Raises `CannotServe`, of which `PortNotFree` is one.
    """
    refuse_unsafe_settings(address)
    count_processes(say)
    listener = open_listener(address)
    try:
        keep_private(settings.DATA_DIR)
        refuse_torn_files(say)
        make_ready(say)
        refuse_beside_others()
    except BaseException:
        listener.close()
        raise
    return listener


def refuse_unsafe_settings(address: Address) -> None:
    """Raise `CannotServe` if the settings would put the house at risk or lock everyone out."""
    unsafe_here = _unsafe_with_https if settings.HTTPS else _unsafe_without_https
    if reasons := [*_unsafe_anywhere(address), *unsafe_here(address)]:
        raise CannotServe("\n".join(reasons))


def _unsafe_anywhere(address: Address) -> Iterator[str]:
    key = settings.SECRET_KEY
    if len(key) < SECRET_KEY_MIN_LENGTH or len(set(key)) < SECRET_KEY_MIN_UNIQUE_CHARACTERS:
        yield (
            f"SECRET_KEY is too easy to guess: give it {SECRET_KEY_MIN_LENGTH} random characters, "
            "or leave it out and the service makes one."
        )
    if settings.DEBUG and (settings.HTTPS or not address.ip.is_loopback):
        yield (
            "DEBUG=true shows the inside of the program to everyone who reaches the site: leave "
            "DEBUG out, or listen on 127.0.0.1 without HTTPS."
        )


def _unsafe_without_https(address: Address) -> Iterator[str]:
    if not address.ip.is_loopback:
        yield (
            f"Without HTTPS, passwords would cross the network readable by all at {address}: "
            "listen on 127.0.0.1, or put a proxy in front and set HTTPS=true."
        )
    if names := sorted(set(settings.ALLOWED_HOSTS) - set(settings.LOCAL_HOSTS)):
        yield (
            f"ALLOWED_HOSTS opens the site to other machines ({', '.join(names)}) while HTTPS is "
            "off: put a proxy in front and set HTTPS=true, or leave ALLOWED_HOSTS out."
        )


def _unsafe_with_https(address: Address) -> Iterator[str]:
    names = settings.ALLOWED_HOSTS
    if not names or set(names) == set(settings.LOCAL_HOSTS):
        yield (
            "HTTPS=true needs the name that people type to reach the site: set ALLOWED_HOSTS, "
            "for example ALLOWED_HOSTS=honey.example."
        )
    elif "*" in names:
        yield (
            "ALLOWED_HOSTS=* answers to every name: list the names that people type, for example "
            "ALLOWED_HOSTS=honey.example."
        )
    for origin in settings.CSRF_TRUSTED_ORIGINS:
        parts = urlsplit(origin)
        if parts.scheme != "https":
            yield (
                f"CSRF_TRUSTED_ORIGINS has {origin}, which is not encrypted: write it with "
                "https://, or leave it out."
            )
        elif not validate_host(parts.hostname or "", names):
            yield (
                f"CSRF_TRUSTED_ORIGINS has {origin}, but ALLOWED_HOSTS lacks that name: add it "
                "there, or leave the address out here."
            )
    try:
        proxy = ip_address(settings.TRUSTED_PROXY)
    except ValueError:
        yield (
            f"TRUSTED_PROXY is {settings.TRUSTED_PROXY!r}: give the one IP address that the proxy "
            "connects from, for example TRUSTED_PROXY=127.0.0.1."
        )
        return
    if not _can_reach(proxy, address):
        yield (
            f"A proxy at {proxy} (TRUSTED_PROXY) can't reach {address}: set TRUSTED_PROXY to the "
            "address that the proxy connects from, or --listen to one that it can reach."
        )


def _can_reach(proxy: IPv4Address | IPv6Address, address: Address) -> bool:
    """Tell whether a connection from the proxy can arrive here, so that its headers count.

    Of the two ends of a connection both are loopback addresses or neither is.
    """
    if proxy.version != address.ip.version:
        return False
    return address.ip.is_unspecified or proxy.is_loopback == address.ip.is_loopback


def count_processes(say: Callable[[str], None] | None = None) -> int:
    """Return how many processes answer, as PROCESSES and the database have it.

    `say` is told where PROCESSES asks for more than the database can use. Raises `CannotServe`.
    """
    asked = settings.PROCESSES
    try:
        count = int(asked) if asked else min(PROCESSES_USUAL, os.cpu_count() or 1)
        if not 1 <= count <= PROCESSES_MAX:
            raise ValueError
    except ValueError:
        raise CannotServe(
            f"PROCESSES is {asked!r}: give a number from 1 to {PROCESSES_MAX}, or leave it out, "
            "and there are as many as this machine has cores."
        ) from None
    if connection.vendor == "postgresql":
        return count
    if asked and count > 1 and say:
        say(
            f"One process answers, not {count} (PROCESSES): SQLite has one writer at a time. "
            "Several are for PostgreSQL."
        )
    return 1


def open_listener(address: Address) -> socket.socket:
    """Take the port. Raises `PortNotFree`."""
    family = socket.AF_INET6 if address.ip.version == 6 else socket.AF_INET
    try:
        return socket.create_server((str(address.ip), address.port), family=family)
    except OSError as error:
        # Its own text repeats the address.
        raise PortNotFree(os.strerror(error.errno) if error.errno else str(error)) from error


def keep_private(directory: Path) -> None:
    """Let nobody but the owner into this directory and what is, or will be, made by this process.

    Raises `CannotServe` for a directory that also holds the program, or that is another user's.
    """
    directory = directory.resolve()
    if settings.BASE_DIR.is_relative_to(directory):
        raise CannotServe(
            f"DATA_DIR {directory} holds the program too: give the data a directory of its own, "
            "for example DATA_DIR=/srv/honey."
        )
    os.umask(0o077)
    try:
        directory.mkdir(parents=True, exist_ok=True)
        for path in (directory, *directory.rglob("*")):
            # SQLite removes its files beside the database when another program closes it.
            with suppress(FileNotFoundError):
                if not path.is_symlink():
                    path.chmod(path.stat().st_mode & 0o700)
    except OSError as error:
        raise CannotServe(
            f"DATA_DIR can't be closed to other users at {error.filename} ({error.strerror}): "
            "start the service as the user who owns these files."
        ) from error


def refuse_torn_files(say: Callable[[str], None] | None = None) -> None:
    """Raise `CannotServe` where a log of another database is beside SQLite's; change nothing."""
    if connection.vendor != "sqlite":
        return
    database = Path(connection.settings_dict["NAME"])
    if say and torn_files.has_log(database):
        say("The service was not stopped in order last time: reading the database.")
    reason = torn_files.fault(database)
    if not reason:
        return
    files = " and ".join(path.name for path in torn_files.beside(database))
    raise CannotServe(
        f"{database.name} and {database.name}-wal in {database.parent} do not belong together "
        f"({reason}): another database was copied here, or this log was left from another one. "
        "Nothing was changed.\n"
        f"To bring back a backup: manage.py restore FILE{_newest_backup()}\n"
        f"To go on with the database that is here: move {files} to another folder, and start "
        "again. Keep them until all is well."
    )


def _newest_backup() -> str:
    try:
        newest = backups.newest_file(backups.default_folder())
    except OSError:
        return ""
    return f" (the newest is {shlex.quote(str(newest))})" if newest else ""


def make_ready(say: Callable[[str], None] | None = None) -> None:
    """Make the tables of an empty database.

    Raises `CannotServe` when the database can't be read, was made by another version, or is empty
    beside backups: then the house was lost, and a new one in its place would look like its end.
    """
    try:
        is_empty = not connection.introspection.table_names()
        executor = MigrationExecutor(connection)
    except DatabaseError as error:
        reason = " ".join(str(error).split())
        raise CannotServe(
            f"The database can't be read ({reason}): check DATABASE_URL and DATA_DIR."
        ) from error
    if is_empty:
        _refuse_beside_backups()
        if say:
            say("Making the database.")
        call_command("migrate", interactive=False, verbosity=0)
        return
    loader = executor.loader
    if executor.migration_plan(loader.graph.leaf_nodes()):
        raise CannotServe(
            "The database is from an earlier version of the service: back it up, run "
            "manage.py migrate, and start again."
        )
    unknown = set(loader.applied_migrations) - set(loader.disk_migrations)
    if any(app in loader.migrated_apps for app, _ in unknown):
        raise CannotServe(
            "The database is from a later version of the service: install that version, or "
            "restore a backup from before the upgrade."
        )


def _refuse_beside_backups() -> None:
    try:
        newest = backups.newest_file(backups.default_folder())
    except OSError as error:
        raise CannotServe(
            f"BACKUP_DIR can't be read at {error.filename} ({error.strerror}): start the service "
            "as the user who owns these files."
        ) from error
    if newest:
        raise CannotServe(
            f"The database {snapshots.database().name} is empty or missing, and BACKUP_DIR has "
            f"backups of a house. No new house was made. To bring back the newest backup: "
            f"manage.py restore {shlex.quote(str(newest))}\n"
            "To begin a new house, give it another DATA_DIR (and another BACKUP_DIR, if that is "
            "set)."
        )


def refuse_beside_others() -> None:
    """Raise `CannotServe` where another machine serves the database by another key or folder."""
    try:
        machines.check()
    except NotAllowedNow as error:
        raise CannotServe(str(error)) from error
    except OSError as error:
        raise CannotServe(
            f"FILES_DIR can't be used at {error.filename} ({error.strerror}): start the service as "
            "the user who owns these files."
        ) from error


def make_application() -> WSGIHandler:
    """Return what answers requests, with static files under names by their contents, compressed.

    Without room for these in DATA_DIR, they keep plain names: pages work, and take longer to load.
    While DEBUG is on they keep them too, so that a change of a file is seen at once.
    """
    if not settings.DEBUG:
        try:
            static_files.storage().use(static_files.written())
        except OSError as error:
            logger.warning(
                "Styles and scripts can't be compressed (%s), so pages take longer to load: make "
                "room in DATA_DIR, and start again.",
                error.strerror,
            )
    # It looks up the static files as it is made.
    return WSGIHandler()


def run(listener: socket.socket) -> None:
    """Answer requests and do background work until SIGTERM or Ctrl+C.

    Acts under way get five seconds to finish, and so does the task that is being done. Raises
    `NotAllowedNow` where another machine began to serve the database by another key meanwhile.
    """
    count = count_processes()
    # waitress stops cleanly on SystemExit.
    signal.signal(signal.SIGTERM, _stop)
    # Each thread that answers opens a connection of its own.
    connections.close_all()
    server = _new_server(listener) if count == 1 else None
    log = log_files.begin()
    try:
        with in_use.held(), machines.serving(), print_room.opened(), BackgroundWorker():
            if server is not None:
                server.run()
            else:
                processes.answer(listener, count, log)
    finally:
        log_files.end(log)


def answer_part(listener: socket.socket, part: ServingPart, writer: Connection) -> None:
    """Answer requests as one of several processes, until SIGTERM; send the log to the first one."""
    signal.signal(signal.SIGTERM, _stop)
    hashing.share(part.number, part.count)
    log = log_files.begin(writer)
    try:
        with in_use.held(), print_room.opened(part.of(print_room.PRESSES)):
            _new_server(listener, part).run()
    finally:
        log_files.end(log)


def _new_server(listener: socket.socket, part: ServingPart = ALL) -> TcpWSGIServer:
    threads = THREADS if part.count == 1 else THREADS_OF_SEVERAL
    server = waitress.create_server(
        make_application(),
        sockets=[listener],
        _dispatcher=Lanes(threads, part),
        max_request_body_size=settings.BODY_WITH_FILES_MAX_SIZE,
        max_request_header_size=arrival.HEADERS_MAX_SIZE,
        channel_timeout=arrival.SILENT_SECONDS_MAX,
        # No visitor needs to know which server answers.
        ident=None,
        # Without HTTPS there is no proxy to believe. waitress takes all other headers of proxies
        # out of the request.
        trusted_proxy=str(ip_address(settings.TRUSTED_PROXY)) if settings.HTTPS else None,
        trusted_proxy_headers=TRUSTED_HEADERS if settings.HTTPS else [],
    )
    server.channel_class = arrival.TimedChannel
    garbage.keep_what_is_there()
    return server


def _stop(*_: object) -> None:
    # Who stops the service may tell each of its processes, which the first one tells too.
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    raise SystemExit(0)
