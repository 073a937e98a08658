"""Run commands of `manage.py` on a database that lies beside the house's own.

    python -m apiary_sales.keeping.beside NAME migrate "verify_ledger --all"

It is a process of its own, so that nothing of it can reach the database that is being used. The
name is the file of a SQLite database, or the name of one on the same PostgreSQL server.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper


def run(name: str, *commands: str) -> subprocess.CompletedProcess[str]:
    """Run these commands, each with its options, on the database of this name."""
    return subprocess.run(
        [sys.executable, "-m", __name__, name, *commands],
        cwd=settings.BASE_DIR,
        env={**os.environ, "DATA_DIR": str(settings.DATA_DIR), "SECRET_KEY": settings.SECRET_KEY},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        # A process that hangs must not keep the night's work from ending.
        timeout=6 * 60 * 60,
    )


@contextmanager
def opened(name: str) -> Iterator[BaseDatabaseWrapper]:
    """Yield a connection to the database of this name, to read from."""
    copy = connections.create_connection(DEFAULT_DB_ALIAS)
    copy.settings_dict = {**connections[DEFAULT_DB_ALIAS].settings_dict, "NAME": name}
    try:
        yield copy
    finally:
        copy.close()


def _main(name: str, *commands: str) -> None:
    import django
    from django.core.management import CommandError, call_command

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "apiary_sales.settings")
    settings.DATABASES["default"]["NAME"] = name
    django.setup()
    try:
        for command in commands:
            call_command(*command.split(), verbosity=0)
    except CommandError as error:
        raise SystemExit(str(error)) from error


if __name__ == "__main__":
    _main(*sys.argv[1:])
