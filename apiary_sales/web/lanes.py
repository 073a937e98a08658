"""Which threads answer what: passwords have a thread of their own, so that guessers wait alone.

A guesser sends one password after the other. With the threads that answer pages, a dozen of them
would keep all others waiting; with one thread apart, they wait for each other. Its pauses are so
short that nobody who signs in notices, and so long that it leaves the processor to the pages.
"""

import logging
import time
from typing import Any

from waitress.task import ThreadedTaskDispatcher

logger = logging.getLogger(__name__)
logger.setLevel(logging.ERROR)

# What takes a password, or something as short-lived, from who is not signed in.
PASSWORD_DOORS = (
    "/account/sign-in/",
    "/account/lost-password/",
    "/account/new-password/",
    "/api/v1/token/",
    "/admin/login/",
    "/set-up/",
)
# Seconds of rest after each, in which other threads have the processor.
REST_SECONDS = 0.05


class Lanes(ThreadedTaskDispatcher):
    """Give what is sent to the doors of passwords to one thread, and the rest to the others."""

    def __init__(self, threads: int) -> None:
        super().__init__()
        self.set_thread_count(threads)
        self.passwords = ThreadedTaskDispatcher()
        # That guessers wait for each other is meant, and would fill the log.
        self.passwords.queue_logger = logger
        self.passwords.set_thread_count(1)

    def add_task(self, task: Any) -> None:
        """Queue the next request of a connection."""
        if _is_for_passwords(task.requests[0]):
            self.passwords.add_task(_Rested(task))
        else:
            super().add_task(task)

    def shutdown(self, cancel_pending: bool = True, timeout: int = 5) -> bool:
        """Let what is being answered end, and drop what waits."""
        self.passwords.shutdown(cancel_pending, timeout)
        return bool(super().shutdown(cancel_pending, timeout))


def _is_for_passwords(request: Any) -> bool:
    # One that can't be read has neither. waitress takes //path for /path.
    path = "/" + getattr(request, "path", "").lstrip("/")
    return getattr(request, "command", "") == "POST" and path.startswith(PASSWORD_DOORS)


class _Rested:
    """A request after whose answer its thread rests."""

    def __init__(self, task: Any) -> None:
        self.task = task

    def service(self) -> None:
        self.task.service()
        time.sleep(REST_SECONDS)

    def cancel(self) -> None:
        self.task.cancel()
