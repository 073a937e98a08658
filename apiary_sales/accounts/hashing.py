"""Passwords are hashed so slowly that guessing takes long, and so few at once that others go on.

A hash keeps one core busy for about a third of a second, and lets other threads go on meanwhile.
Half the cores may hash; a few more wait for their turn, and others are told to try again. Where
several processes answer, those turns are the machine's.
"""

import fcntl
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.utils.translation import gettext as _

from inventory.shared.errors import TooBusy


class Turns:
    """So many at once, and so many who wait, each so many seconds at most."""

    def __init__(self, *, at_once: int, waiting: int, wait_seconds: float) -> None:
        self._places = threading.BoundedSemaphore(at_once + waiting)
        self._turns = threading.BoundedSemaphore(at_once)
        self._wait_seconds = wait_seconds
        self._shared: Path | None = None

    def share(self, lock: Path) -> None:
        """Have each turn only while no other process has one by this lock.

        The system lets go of it whatever way a process ends.
        """
        self._shared = lock

    @contextmanager
    def taken(self) -> Iterator[None]:
        """Wait for a turn and have it. Raises `TooBusy` where too many wait, or it takes too long.

        A thread may have several turns only one after the other.
        """
        if not self._places.acquire(blocking=False):
            raise _too_busy()
        try:
            if not self._turns.acquire(timeout=self._wait_seconds):
                raise _too_busy()
            try:
                with self._alone():
                    yield
            finally:
                self._turns.release()
        finally:
            self._places.release()

    @contextmanager
    def _alone(self) -> Iterator[None]:
        if self._shared is None:
            yield
            return
        with self._shared.open("a") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield

    def has_place(self) -> bool:
        """Tell whether one more could wait now, or have a turn."""
        free = self._places.acquire(blocking=False)
        if free:
            self._places.release()
        return free


def _too_busy() -> TooBusy:
    return TooBusy(
        _("Several passwords are being checked at this moment. Try again in a moment."),
        wait_seconds=2,
    )


AT_ONCE, WAITING, WAIT_SECONDS = max(1, (os.cpu_count() or 1) // 2), 2, 10
TURNS = Turns(at_once=AT_ONCE, waiting=WAITING, wait_seconds=WAIT_SECONDS)


def share(number: int, count: int) -> None:
    """Share the turns of this machine among so many processes, of which this is one, from 0."""
    global TURNS
    TURNS = Turns(at_once=max(1, AT_ONCE // count), waiting=WAITING, wait_seconds=WAIT_SECONDS)
    if count > AT_ONCE:
        # Some have one turn together.
        TURNS.share(Path(settings.DATA_DIR) / f"passwords-{number % AT_ONCE}.lock")


class BoundedPasswordHasher(PBKDF2PasswordHasher):
    """Django's usual hash, of which this process makes few at once.

    Its algorithm and its text are Django's, so that passwords that were kept before go on.
    """

    def encode(self, password: str, salt: str, iterations: int | None = None) -> str:
        with TURNS.taken():
            return super().encode(password, salt, iterations)
