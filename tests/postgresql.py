"""A PostgreSQL server of our own for the length of a test run."""

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def programs() -> Path | None:
    """Return the folder with PostgreSQL's server programs, or None where there is none."""
    if initdb := shutil.which("initdb"):
        return Path(initdb).parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=_version)
    return found[-1].parent if found else None


@contextmanager
def server() -> Iterator[str]:
    """Start a server on a free port of this machine and yield its DATABASE_URL."""
    bin_dir = programs()
    if bin_dir is None:
        raise FileNotFoundError("No PostgreSQL server programs: install the package postgresql.")
    with tempfile.TemporaryDirectory(prefix="honey-postgresql-") as folder:
        data = Path(folder) / "data"
        if os.getuid() == 0:
            shutil.chown(folder, "nobody")
        port = _free_port()
        _run(bin_dir / "initdb", "-D", data, "-U", "honey", "--auth=trust", "--encoding=UTF8")
        options = f"-p {port} -c listen_addresses=127.0.0.1 -c fsync=off -k {folder}"
        _run(bin_dir / "pg_ctl", "-D", data, "-w", "-o", options, "-l", f"{folder}/log", "start")
        try:
            yield f"postgres://honey@127.0.0.1:{port}/postgres"
        finally:
            _run(bin_dir / "pg_ctl", "-D", data, "-m", "immediate", "stop")


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


def _free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return listener.getsockname()[1]


def _version(path: Path) -> float:
    return float(path.parent.parent.name)
