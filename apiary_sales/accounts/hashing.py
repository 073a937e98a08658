"""Passwords are hashed so slowly that guessing takes long, and so few at once that others go on.

A hash keeps one core busy for about a third of a second, and lets other threads go on meanwhile.
Half the cores may hash; a few more wait for their turn, and others are told to try again.
"""

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.utils.translation import gettext as _

from inventory.shared.errors import TooBusy


class Turns:
    """So many at once, and so many who wait, each so many seconds at most."""

    def __init__(self, *, at_once: int, waiting: int, wait_seconds: float) -> None:
        self._places = threading.BoundedSemaphore(at_once + waiting)
        self._turns = threading.BoundedSemaphore(at_once)
        self._wait_seconds = wait_seconds

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
                yield
            finally:
                self._turns.release()
        finally:
            self._places.release()

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


TURNS = Turns(at_once=max(1, (os.cpu_count() or 1) // 2), waiting=2, wait_seconds=10)


class BoundedPasswordHasher(PBKDF2PasswordHasher):
    """Django's usual hash, of which this process makes few at once.

    Its algorithm and its text are Django's, so that passwords that were kept before go on.
    """

    def encode(self, password: str, salt: str, iterations: int | None = None) -> str:
        with TURNS.taken():
            return super().encode(password, salt, iterations)
