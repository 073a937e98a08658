"""Read from a streaming replica of the database, where one is set and is not late.

For the length of a reading, the replica takes the place of the house's database in the thread that
answers: all that is asked then is asked of it, and the code that asks does not know. So nothing is
half of one and half of the other.

How late the replica is, each process finds out by itself, at a reading and at most every second. It
notes how far the log of the primary is, and later finds that the replica has replayed so much: all
that was recorded before the note was made is on the replica. No clock of a server counts, and a
primary on which nothing is recorded makes nobody late. A replica that is lost is looked for again
after a while, and all is read from the primary until then.
"""

import logging
import threading
import time
from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, DatabaseError, InterfaceError, connections

logger = logging.getLogger(__name__)

ALIAS = "replica"
# In a thread that reads from the replica: its connection to the primary.
_here = threading.local()
# Seconds between two looks, at most a quarter of the bound; and after the replica was lost.
LOOK_SECONDS, LOST_SECONDS = 1.0, 10.0
# Only a replica of the same server has the same log. Places in it are counted in bytes.
ASK_PRIMARY = (
    "SELECT system_identifier, pg_wal_lsn_diff(pg_current_wal_insert_lsn(), '0/0')::bigint "
    "FROM pg_control_system()"
)
ASK_REPLICA = (
    "SELECT system_identifier, pg_is_in_recovery(), current_database(), "
    "pg_wal_lsn_diff(pg_last_wal_replay_lsn(), '0/0')::bigint FROM pg_control_system()"
)


class Replica:
    """What this process knows of the replica; times are of its own clock, in seconds."""

    def __init__(self) -> None:
        self._looking = threading.Lock()
        self._next_look = 0.0
        # When the log of the primary was how far, while the replica had not replayed so much.
        self._noted: deque[tuple[float, int]] = deque()
        # All that was recorded before this moment is on the replica, and the log up to there.
        self._has_all_before, self._has_up_to = float("-inf"), 0

    def is_in_time(self) -> bool:
        """Tell whether the replica is there, and not later than the bound."""
        if time.monotonic() >= self._next_look and self._looking.acquire(blocking=False):
            try:
                self._look()
            finally:
                self._looking.release()
        return bool(time.monotonic() - self._has_all_before <= settings.REPLICA_LAG_SECONDS)

    def has(self, place: int) -> bool:
        """Tell whether the replica had the primary's log up to there when it was last looked at."""
        return self._has_up_to >= place

    def lose(self, error: Exception) -> None:
        """Read nothing from the replica for a while."""
        logger.warning("The replica is not read from for %.0f seconds: %s", LOST_SECONDS, error)
        self._has_all_before = float("-inf")
        self._next_look = time.monotonic() + LOST_SECONDS
        connections[ALIAS].close()

    def _look(self) -> None:
        bound = settings.REPLICA_LAG_SECONDS
        now = time.monotonic()
        self._next_look = now + min(LOOK_SECONDS, bound / 4)
        try:
            server, place = _ask(DEFAULT_DB_ALIAS, ASK_PRIMARY)
            of, follows, name, has = _ask(ALIAS, ASK_REPLICA)
        except (DatabaseError, InterfaceError) as error:
            self.lose(error)
            return
        if (of, name) != (server, connections[DEFAULT_DB_ALIAS].settings_dict["NAME"]):
            self.lose(ValueError("DATABASE_REPLICA_URL names another database."))
        elif not follows:
            self.lose(ValueError("It takes writes itself now."))
        else:
            self._note(now, place, has)

    def _note(self, now: float, place: int, has: int) -> None:
        self._noted.append((now, place))
        self._has_up_to = has
        while self._noted and self._noted[0][1] <= has:
            self._has_all_before, _place = self._noted.popleft()
        while self._noted and now - self._noted[0][0] > settings.REPLICA_LAG_SECONDS:
            self._noted.popleft()


def place_of_the_primary() -> int:
    """Return how far the log of the primary is: all that was recorded until now is before it."""
    _server, place = _ask(DEFAULT_DB_ALIAS, ASK_PRIMARY)
    return int(place)


def is_read() -> bool:
    """Tell whether this thread reads from the replica now."""
    return getattr(_here, "primary", None) is not None


def begin() -> None:
    """Let all that this thread asks be asked of the replica, until `end`."""
    _here.primary = connections[DEFAULT_DB_ALIAS]
    connections[DEFAULT_DB_ALIAS] = connections[ALIAS]


def end() -> None:
    """Let this thread ask the primary again, where it did not."""
    if is_read():
        connections[DEFAULT_DB_ALIAS] = _here.primary
        _here.primary = None


@contextmanager
def primary() -> Iterator[None]:
    """Let all within be asked of the primary, also in the middle of a reading."""
    was_read = is_read()
    end()
    try:
        yield
    finally:
        if was_read:
            begin()


def streamed(content: Iterable[Any]) -> Iterator[Any]:
    """Yield what is made while it is sent, with each part of it read from the replica."""
    parts, nothing = iter(content), object()
    while True:
        begin()
        try:
            part = next(parts, nothing)
        finally:
            end()
        if part is nothing:
            return
        yield part


def _ask(alias: str, question: str) -> Any:
    with connections[alias].cursor() as cursor:
        cursor.execute(question)
        return cursor.fetchone()
