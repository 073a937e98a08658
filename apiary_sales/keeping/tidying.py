"""What is deleted at night because it was kept long enough.

Each app that keeps something for a time registers a function that deletes what is old and says how
many rows it was.
"""

import logging
from collections.abc import Callable

logger = logging.getLogger(__name__)

_tidies: list[Callable[[], int]] = []


def register(tidy: Callable[[], int]) -> None:
    _tidies.append(tidy)


def tidy_all() -> list[str]:
    """Delete what is old of every app; return what failed, beside which the others go on."""
    failed = []
    for tidy in _tidies:
        try:
            tidy()
        except Exception:
            logger.exception("What is old was not deleted by %s.", tidy.__qualname__)
            failed.append(f"{tidy.__module__}.{tidy.__qualname__}")
    return failed
