"""When a message that a program did not take is sent again."""

from datetime import datetime, timedelta

# After the first attempt, the second, and so on; the last again and again. A program that is
# restarted is back within a minute, one that is repaired within hours.
WAITS = (
    timedelta(seconds=5),
    timedelta(seconds=30),
    timedelta(minutes=2),
    timedelta(minutes=10),
    timedelta(minutes=30),
    timedelta(hours=1),
    timedelta(hours=2),
    timedelta(hours=4),
    timedelta(hours=8),
)
# A message is given up so long after it was first due.
GIVEN_UP_AFTER = timedelta(days=3)
# A program that has only failed for so long is switched off.
SWITCHED_OFF_AFTER = timedelta(days=5)
# After a failure nothing is sent to the same program for a time, at most this long.
REST_MAX = timedelta(minutes=5)
# A program whose answers take longer than this rests for `REST_FOR_EACH` times as long.
SLOW = timedelta(seconds=1)
REST_FOR_EACH = 4
# A wait is up to so much shorter or longer, so that many messages do not come at once.
SPREAD = 0.2


def wait_after(tries: int, chance: float) -> timedelta:
    """Return how long to wait after so many attempts; `chance` from 0 to 1 spreads it.

    >>> wait_after(1, 0.5), wait_after(3, 1.0)
    (datetime.timedelta(seconds=5), datetime.timedelta(seconds=144))
    """
    return WAITS[min(tries, len(WAITS)) - 1] * (1 - SPREAD + 2 * SPREAD * chance)


def next_try(*, tries: int, began_at: datetime, now: datetime, chance: float) -> datetime | None:
    """Return when to try again after so many attempts, or None where the message is given up."""
    at = now + wait_after(tries, chance)
    return at if at <= began_at + GIVEN_UP_AFTER else None


def rest_after_failures(failures: int) -> timedelta:
    """Return how long a program rests that has failed so often in a row.

    >>> rest_after_failures(1), rest_after_failures(20)
    (datetime.timedelta(seconds=5), datetime.timedelta(seconds=300))
    """
    return min(wait_after(failures, 0.5), REST_MAX)


def rest_after_success(took: timedelta) -> timedelta | None:
    """Return how long a program rests whose answer took so long; None for a quick one."""
    return took * REST_FOR_EACH if took > SLOW else None
