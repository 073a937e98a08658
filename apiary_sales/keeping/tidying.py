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


def tidy_all() -> None:
    """Delete what is old of every app; what fails is noted, and the others go on."""
    for tidy in _tidies:
        try:
            tidy()
        except Exception:
            logger.exception("What is old was not deleted by %s.", tidy.__qualname__)
