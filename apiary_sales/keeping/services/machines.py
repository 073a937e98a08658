"""See that all machines that serve one database have the same key and the same attached files.

Only PostgreSQL is served by several. As long as a machine serves, it holds a lock in the database,
which the server lets go of whatever way the machine ends. Where no other one holds it, what this
machine has counts from now on; where one does, this machine must have the same.
"""

import logging
import secrets
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.db import DEFAULT_DB_ALIAS, DatabaseError, connection, connections
from django.utils.translation import gettext as _

from apiary_sales.keeping.models import SharedKeyAndFiles
from inventory.shared.errors import NotAllowedNow, TooBusy

logger = logging.getLogger(__name__)

# Advisory locks: that a machine is starting, one at a time, and that it serves.
STARTING, SERVING = 731_800_001, 731_800_002
# Seconds between two looks whether the lock is still held: a database that was started again, or a
# replica in its place, has none.
INTERVAL = 5.0
# By this file one tells a folder of attached files from another one.
MARK = "mark-of-this-folder.txt"


def check() -> None:
    """Raise `NotAllowedNow` where another machine serves with another key or other files.

    Raises `OSError` where the folder of attached files can't be used.
    """
    if connection.vendor == "postgresql":
        lock = _Lock()
        try:
            lock.look()
        finally:
            lock.let_go()


@contextmanager
def serving() -> Iterator[None]:
    """Say in the database that this machine serves it, from entering to leaving.

    What is new about its key and its files is in the log. Raises `NotAllowedNow` as `check` does.
    """
    if connection.vendor != "postgresql":
        yield
        return
    lock, stop = _Lock(), threading.Event()
    try:
        lock.take()
        # The thread has connections of its own.
        connection.close()
        keeper = threading.Thread(target=lock.keep, args=[stop], name="machines", daemon=True)
        keeper.start()
        try:
            yield
        finally:
            stop.set()
            keeper.join(INTERVAL)
    finally:
        lock.let_go()


class _Lock:
    """The lock of this machine, on a connection of its own."""

    def __init__(self) -> None:
        self._connection = connections.create_connection(DEFAULT_DB_ALIAS)
        # Taken before the thread that keeps it begins.
        self._connection.inc_thread_sharing()

    def look(self) -> None:
        """Compare with the machines that serve. Raises `NotAllowedNow` where something differs."""
        with self._starting() as is_alone:
            if is_alone:
                _own_mark()
            else:
                _compare()

    def take(self) -> None:
        """Hold the lock, and note key and files where no other machine serves.

        Raises `NotAllowedNow` where another one serves with others.
        """
        self._connection.close()
        with self._starting() as is_alone:
            if is_alone:
                _note()
            else:
                _compare()
            self._ask("SELECT pg_advisory_lock_shared(%s)", SERVING)

    def keep(self, stop: threading.Event) -> None:
        """Take the lock again whenever the database lost it, until it is time to stop."""
        is_held, said = True, ""
        while not stop.wait(INTERVAL):
            try:
                if not is_held:
                    self.take()
                self._ask("SELECT 1")
                is_held, said = True, ""
            except (NotAllowedNow, TooBusy, DatabaseError, OSError) as error:
                is_held = False
                if str(error) != said:
                    said = str(error)
                    logger.error("The database does not know that this machine serves: %s", said)
            finally:
                connection.close()

    def let_go(self) -> None:
        if self._connection.connection is not None:
            # The server's process ends some time after its connection.
            with suppress(DatabaseError):
                self._ask("SELECT pg_advisory_unlock_all()")
            self._connection.close()

    @contextmanager
    def _starting(self) -> Iterator[bool]:
        """Let other machines wait with their start; yield whether none of them serves."""
        self._ask("SELECT pg_advisory_lock(%s)", STARTING)
        is_alone = bool(self._ask("SELECT pg_try_advisory_lock(%s)", SERVING))
        try:
            yield is_alone
        finally:
            if is_alone:
                self._ask("SELECT pg_advisory_unlock(%s)", SERVING)
            self._ask("SELECT pg_advisory_unlock(%s)", STARTING)

    def _ask(self, query: str, *values: int) -> object:
        with self._connection.cursor() as cursor:
            cursor.execute(query, values)
            return cursor.fetchone()[0]


def _compare() -> None:
    """Raise `NotAllowedNow` where key or files are not those that are noted.

    Nothing is noted where a machine was lost in its first start.
    """
    noted = SharedKeyAndFiles.objects.first()
    if noted is None:
        return
    if not _is_key_of(noted):
        raise NotAllowedNow(
            _(
                "Another machine serves this database with another SECRET_KEY: who signed in "
                "there would be signed out here. Give all machines the same SECRET_KEY; one that "
                "made its own has it in the file secret_key in its DATA_DIR. To change the key, "
                "stop the service on every machine first."
            )
        )
    if _mark_path().exists() and _mark_path().read_text("utf-8") == noted.files_mark:
        return
    raise NotAllowedNow(
        _(
            "Another machine serves this database with another folder of attached files than "
            "%(folder)s: what is attached there would be missing here. Set FILES_DIR on all "
            "machines to one folder that they share. To change the folder, stop the service on "
            "every machine first."
        )
        % {"folder": settings.FILES_DIR}
    )


def _note() -> None:
    """Let key and files of this machine count from now on; say in the log what that changes."""
    noted = SharedKeyAndFiles.objects.first() or SharedKeyAndFiles(pk=1)
    mark = _own_mark()
    has_key, has_files = _is_key_of(noted), noted.files_mark == mark
    if has_key and has_files:
        return
    if noted.hashed_key and not has_key:
        logger.warning(
            "SECRET_KEY is another one than before: everybody signs in again, a code app is set "
            "up anew after a recovery code, secrets of programs that are told are renewed."
        )
    if noted.files_mark and not has_files:
        logger.warning(
            "FILES_DIR is another folder than before: files that were attached are missing unless "
            "they were copied to %s.",
            settings.FILES_DIR,
        )
    if not has_key:
        noted.hashed_key = make_password(settings.SECRET_KEY)
    noted.files_mark = mark
    noted.save()


def _is_key_of(noted: SharedKeyAndFiles) -> bool:
    return bool(noted.hashed_key) and check_password(settings.SECRET_KEY, noted.hashed_key)


def _mark_path() -> Path:
    return Path(settings.FILES_DIR) / MARK


def _own_mark() -> str:
    """Return the mark of the folder of attached files here; make one where it has none."""
    path = _mark_path()
    if not path.exists():
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.write_text(secrets.token_hex(32), encoding="utf-8")
    return path.read_text("utf-8")
