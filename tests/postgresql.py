"""A PostgreSQL server of our own for the length of a test run."""

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from django.db import connection, transaction

# What a server may leave out where nobody kills it.
UNSAFE = (
    "synchronous_commit=off",
    "full_page_writes=off",
    "wal_level=minimal",
    "max_wal_senders=0",
)
# Addresses that are set apart for tests of networks.
OTHER_NETWORKS = "198.18.0.0/15"


def programs() -> Path | None:
    """Return the folder with PostgreSQL's server programs, or None where there is none."""
    if initdb := shutil.which("initdb"):
        return Path(initdb).parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=_version)
    return found[-1].parent if found else None


class Server:
    """A server in a folder of its own, which can be killed and started again.

    With a `primary` it is a replica of that server, which streams its changes, until promoted. At
    an `address` other than this machine's own, other networks of the tests reach it. With
    `settings` it has these besides its own.
    """

    def __init__(
        self,
        folder: Path,
        primary: "Server | None" = None,
        address: str = "127.0.0.1",
        settings: Collection[str] = (),
    ) -> None:
        self.data, self.port, self.address = folder / "data", free_port(), address
        self.url = f"postgres://honey@{address}:{self.port}/postgres"
        heard = ",".join({"127.0.0.1", address})
        self._bin_dir, self._log = programs(), folder / "log"
        # Compiling a plan pays off where there are very many rows.
        own = (f"listen_addresses={heard}", "fsync=off", "jit=off", *settings)
        self._options = " ".join([f"-p {self.port} -k {folder}", *(f"-c {each}" for each in own)])
        if primary:
            source = ("-h", "127.0.0.1", "-p", primary.port, "-U", "honey")
            options = ("--write-recovery-conf", "--checkpoint=fast", "--no-sync")
            # A client program, which is beside the server's programs.
            program = (self._bin_dir / "initdb").resolve().with_name("pg_basebackup")
            _run(program, "-D", self.data, *source, *options)
            return
        _run(
            self._bin_dir / "initdb",
            *("-D", self.data, "-U", "honey", "--auth=trust", "--encoding=UTF8"),
        )
        # The replicas take it over.
        with (self.data / "pg_hba.conf").open("a") as rules:
            rules.write(f"host all all {OTHER_NETWORKS} trust\n")

    def start(self) -> None:
        command = [self._bin_dir / "pg_ctl", "-D", self.data, "-w", "-o", self._options]
        _run(*command, "-l", self._log, "start")

    def promote(self) -> None:
        """Let a replica take writes, in the place of its primary."""
        _run(self._bin_dir / "pg_ctl", "-D", self.data, "-w", "promote")

    def stop(self) -> None:
        if Path(f"/proc/{self.pid}").exists():
            _run(self._bin_dir / "pg_ctl", "-D", self.data, "-m", "immediate", "stop")

    def kill(self) -> None:
        """End it and all its processes at once, as a power cut does."""
        pid = self.pid
        found = subprocess.run(["pgrep", "-P", str(pid)], capture_output=True, text=True)
        processes = [pid, *map(int, found.stdout.split())]
        for process in processes:
            with suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
        while any(Path(f"/proc/{process}").exists() for process in processes):
            time.sleep(0.01)

    def log(self) -> str:
        return self._log.read_text("utf-8")

    @property
    def pid(self) -> int:
        return int((self.data / "postmaster.pid").read_text("utf-8").split()[0])


@contextmanager
def server() -> Iterator[str]:
    """Start a server on a free port of this machine and yield its DATABASE_URL."""
    with killable_server(settings=UNSAFE) as started:
        yield started.url


@contextmanager
def killable_server(
    primary: Server | None = None, address: str = "127.0.0.1", settings: Collection[str] = ()
) -> Iterator[Server]:
    """Start a server that can be killed and started again, or a replica of this one."""
    if programs() is None:
        raise FileNotFoundError("No PostgreSQL server programs: install the package postgresql.")
    with tempfile.TemporaryDirectory(prefix="honey-postgresql-") as folder:
        if os.getuid() == 0:
            shutil.chown(folder, "nobody")
        started = Server(Path(folder), primary, address, settings)
        started.start()
        try:
            yield started
        finally:
            started.stop()


def url_of_both(primary: Server, replica: Server) -> str:
    """Return a DATABASE_URL for whichever of two servers takes writes."""
    servers = f"{primary.address}:{primary.port},{replica.address}:{replica.port}"
    options = "target_session_attrs=read-write&connect_timeout=3"
    return f"postgres://honey@{servers}/postgres?{options}"


def rows() -> dict[str, bytes]:
    """Return the rows of each table of the database in use, as PostgreSQL copies them."""
    with connection.cursor() as cursor:
        found = {}
        for table in connection.introspection.table_names(cursor):
            with cursor.copy(f"COPY {connection.ops.quote_name(table)} TO STDOUT") as copied:
                found[table] = b"".join(copied)
        return found


def bring_back(kept: Mapping[str, bytes]) -> None:
    """Let the tables of the database in use have these rows and no others.

    Whoever may, as a server's superuser, puts off its triggers meanwhile. To delete takes a
    hundredth of the time of TRUNCATE, which makes new files for each table and index.
    """
    names = {table: connection.ops.quote_name(table) for table in kept}
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute("; ".join(f"DELETE FROM {name}" for name in names.values()))
        for table, text in kept.items():
            if text:
                with cursor.copy(f"COPY {names[table]} FROM STDIN") as copied:
                    copied.write(text)


def _run(*command: object) -> None:
    """Run a server program; PostgreSQL refuses root, so root lends it to nobody."""
    lend = ["setpriv", "--reuid=nobody", "--regid=nogroup", "--clear-groups"]
    prefix = lend if os.getuid() == 0 else []
    subprocess.run(
        [*prefix, *map(str, command)],
        check=True,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        cwd="/",
    )


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return listener.getsockname()[1]


def _version(path: Path) -> float:
    return float(path.parent.parent.name)
