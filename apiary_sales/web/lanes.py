"""Which threads answer what, so that nobody's long wait becomes everybody's.

A guesser sends one password after the other. With the threads that answer pages, a dozen of them
would keep all others waiting; with one thread apart, they wait for each other. Its pauses are so
short that nobody who signs in notices, and so long that it leaves the processor to the pages.

Papers, plans, reports and lists as files take seconds. They have a few threads apart and a queue,
first come, first served, so that fifty papers at once delay no page. Who comes when the queue is
full is told at once to ask again later.
"""

import logging
import re
import time
from typing import Any

from waitress.task import ThreadedTaskDispatcher, WSGITask

from apiary_sales.web.processes import ServingPart

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


# What takes seconds: papers, lists and reports as files, plans and reports.
LONG_FILES = re.compile(r"(\.(pdf|csv|xlsx)|/(pdf|csv))/?\Z")
LONG_PAGES = (
    "/reports/",
    "/honey/plan-a-blend/",
    "/money/e-mails/send/",
    "/money/expenses/by-month/",
    "/api/v1/reports/",
    "/api/v1/bottling-plan/",
    "/api/v1/season-plan/",
    "/api/v1/blend-search/",
)
# As many as there are presses in the print room at most: more would only share the processor.
LONG_THREADS = 2
# How many more may wait. A person waits half a minute for the last of them where each is a paper.
LONG_WAITING_MAX = 60
# In the environment of a request that came to a full queue.
IS_ONE_TOO_MANY = "honey_house.is_one_too_many"


# Where one process answers.
ALL = ServingPart()


class Lanes(ThreadedTaskDispatcher):
    """Give passwords to one thread, what takes long to a few, and the rest to the others."""

    def __init__(self, threads: int, part: ServingPart = ALL) -> None:
        super().__init__()
        self.set_thread_count(threads)
        self.part = part
        self.passwords, self.long = ThreadedTaskDispatcher(), ThreadedTaskDispatcher()
        for lane in (self.passwords, self.long):
            # That they wait for each other is meant, and would fill the log.
            lane.queue_logger = logger
        self.passwords.set_thread_count(1)
        self.long.set_thread_count(part.of(LONG_THREADS))

    def add_task(self, task: Any) -> None:
        """Queue the next request of a connection."""
        request = task.requests[0]
        if _is_for_passwords(request):
            self.passwords.add_task(_Rested(task))
        elif not is_long(_path(request)):
            super().add_task(task)
        elif len(self.long.queue) < self.part.of(LONG_WAITING_MAX):
            self.long.add_task(task)
        else:
            request.is_one_too_many = True
            super().add_task(task)

    def shutdown(self, cancel_pending: bool = True, timeout: int = 5) -> bool:
        """Let what is being answered end, in so many seconds for all, and drop what waits."""
        until = time.monotonic() + timeout
        for lane in (self, self.passwords, self.long):
            lane.set_thread_count(0)
        for lane in (self.passwords, self.long):
            lane.shutdown(cancel_pending, max(0, until - time.monotonic()))
        return bool(super().shutdown(cancel_pending, max(0, until - time.monotonic())))


class LaneTask(WSGITask):
    """The answer to a request, which is told whether it came to a full queue."""

    def get_environment(self) -> dict[str, Any]:
        environment: dict[str, Any] = super().get_environment()
        environment[IS_ONE_TOO_MANY] = getattr(self.request, "is_one_too_many", False)
        return environment


def is_long(path: str) -> bool:
    """Tell whether what is at an address may take seconds."""
    return path.startswith(LONG_PAGES) or LONG_FILES.search(path) is not None


def _is_for_passwords(request: Any) -> bool:
    return getattr(request, "command", "") == "POST" and _path(request).startswith(PASSWORD_DOORS)


def _path(request: Any) -> str:
    # One that can't be read has none. waitress takes //path for /path.
    return "/" + getattr(request, "path", "").lstrip("/")


class _Rested:
    """A request after whose answer its thread rests."""

    def __init__(self, task: Any) -> None:
        self.task = task

    def service(self) -> None:
        self.task.service()
        time.sleep(REST_SECONDS)

    def cancel(self) -> None:
        self.task.cancel()
