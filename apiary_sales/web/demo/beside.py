"""The demo beside a house of its own: in a folder, database, key and port of its own.

The demo is told from a real house by what only the demo has; see `why_not_the_demo`.
"""

import os
import socket
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, NoReturn

from django.conf import settings
from django.contrib.auth.hashers import check_password
from django.db import connection, connections

from apiary_sales.web.demo.fixtures import read

# The house itself is expected at 8000, now or later.
FIRST_PORT = 8001
PORTS_TRIED = 20

# What a house is set up with, and the demo must not use: its data, and its way to the world.
OF_THE_HOUSE = (
    "ALLOWED_HOSTS",
    # There the backups of the demo would be taken for those of the house, and let them age out.
    "BACKUP_DIR",
    "BACKUP_PASSPHRASE",
    "CSRF_TRUSTED_ORIGINS",
    "DATABASE_URL",
    "EMAIL_FROM",
    "EMAIL_URL",
    "FILES_DIR",
    "HTTPS",
    # Two processes that turn one log over lose lines of it.
    "LOG_DIR",
    "SECRET_KEY",
    "TRUSTED_PROXY",
)

# Of the business details, those that say who a house is.
TOLD_BY = ("name", "street", "email", "tax_number")

Ask = Callable[[str], Iterable[tuple[Any, ...]]]


def folder() -> Path:
    return settings.DATA_DIR / "demo"


def mark(data_dir: Path) -> Path:
    """Return the file that says that a folder is the demo's alone."""
    return data_dir / settings.DEMO_MARK


def is_needed() -> bool:
    """Tell whether the database of the settings has something else than the demo in it.

    It is only read: it may be of another version.
    """
    names = set(connection.introspection.table_names())
    if "accounts_house" in names:
        found = [row[0] for row in ask_django("SELECT name FROM accounts_house")]
        if found:
            return read("house")["house"]["name"] not in found
    return any(
        list(ask_django(f"SELECT 1 FROM {table} LIMIT 1"))
        for table in ("accounts_user", "inventory_place")
        if table in names
    )


def start(*arguments: str) -> NoReturn:
    """Go on as the demo in its own folder; this process becomes that of the demo."""
    folder().mkdir(mode=0o700, parents=True, exist_ok=True)
    mark(folder()).write_text(
        "This folder is the demo's alone. manage.py demo --remove takes it away.\n"
    )
    sys.stdout.flush()
    connections.close_all()
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "demo", *arguments]
    os.execve(sys.executable, command, environment())


def environment() -> dict[str, str]:
    """Return the settings of the demo: those of the house, without its data and its network."""
    kept = {name: value for name, value in os.environ.items() if name not in OF_THE_HOUSE}
    return {**kept, "DATA_DIR": str(folder())}


def free_port() -> int:
    """Return the first port from `FIRST_PORT` on that nobody listens at."""
    for port in range(FIRST_PORT, FIRST_PORT + PORTS_TRIED):
        try:
            socket.create_server(("127.0.0.1", port)).close()
        except OSError:
            continue
        return port
    return FIRST_PORT


def ask_django(statement: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    return rows


def why_not_the_demo(ask: Ask) -> str | None:
    """Return why a database may be a real house, or None when it can only be the demo.

    It is the demo if its house is the invented one, if nobody is in it but the demo's people with
    the password that everybody can read, and if its stock began with the demo's own entries.
    """
    demo = read("house")
    invented = tuple(demo["house"][name] for name in TOLD_BY)
    houses = list(ask(f"SELECT {', '.join(TOLD_BY)} FROM accounts_house"))
    if houses != [invented]:
        return "its business details are not those of the demo"
    people = {person["username"] for person in demo["people"]}
    found = list(ask("SELECT username, password FROM accounts_user ORDER BY username"))
    if strangers := [username for username, _password in found if username not in people]:
        return f"{strangers[0]} signs in there, and is not of the demo"
    for username, password in found:
        if not check_password(demo["sign_in"]["password"], password):
            return f"{username} has another password than in the demo"
    postings = list(ask("SELECT idempotency_key FROM inventory_posting"))
    if postings and not any(key.startswith("demo:") for (key,) in postings):
        return "its entries are not those of the demo"
    return None
