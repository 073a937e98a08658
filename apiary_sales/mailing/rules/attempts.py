"""When an e-mail that a mail server did not take is tried again."""

from datetime import timedelta

# After the first attempt, the second, and so on: a server that is full or busy usually takes the
# mail within hours, and after a day nobody expects it any more (common practice; RFC 5321 4.5.4.1
# asks for 30 minutes between attempts after the first ones, from memory).
WAITS = tuple(timedelta(minutes=minutes) for minutes in (1, 10, 30, 120, 480, 960))


def wait_after(attempts: int) -> timedelta | None:
    """Return how long to wait after so many attempts, or None where it is given up.

    >>> wait_after(1), wait_after(7)
    (datetime.timedelta(seconds=60), None)
    """
    return WAITS[attempts - 1] if attempts <= len(WAITS) else None


def is_temporary(code: int) -> bool:
    """Tell whether an answer of a mail server says to try again: 4yz, by RFC 5321 4.2.1."""
    return 400 <= code < 500
