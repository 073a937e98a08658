"""What a short PIN may be, how long one waits after wrong ones, and how long one is signed in."""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from django.utils.translation import gettext as _

from apiary_sales.accounts.models import User

PIN_DIGITS_MIN, PIN_DIGITS_MAX = 4, 6
# After so many wrong ones a person waits; each further one doubles the wait.
WRONG_PINS_FREE = 5
FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=1)
_DIGITS = re.compile(rf"[0-9]{{{PIN_DIGITS_MIN},{PIN_DIGITS_MAX}}}")


def why_no_pin(pin: str) -> str:
    """Return why something can't be a PIN, in words; empty where it can."""
    if not _DIGITS.fullmatch(pin):
        return _("Use 4 to 6 digits.")
    # From one digit to the next: 0 again and again in 7777, 1 in 1234 and 7890, 9 in 4321.
    steps = {(int(later) - int(earlier)) % 10 for earlier, later in pairwise(pin)}
    if steps == {0}:
        return _("All digits are the same. Choose a PIN that is harder to guess.")
    if steps in ({1}, {9}):
        return _("The digits follow each other. Choose a PIN that is harder to guess.")
    return ""


def wait_after(wrong: int) -> timedelta:
    """Return how long to wait after so many wrong PINs."""
    if wrong < WRONG_PINS_FREE:
        return timedelta(0)
    # Limited before it is doubled, since the count has no limit.
    doublings = min(wrong - WRONG_PINS_FREE, 10)
    return min(FIRST_WAIT * 2**doublings, LONGEST_WAIT)


@dataclass(frozen=True)
class SessionLimit:
    """After how long one has to sign in again."""

    # Since the last page, and since signing in.
    idle: timedelta
    longest: timedelta


# The phone at the stand must take sales, so it stays signed in longest; it can do least.
SESSION_LIMITS = {
    User.Role.OWNER: SessionLimit(idle=timedelta(hours=12), longest=timedelta(days=7)),
    User.Role.OFFICE: SessionLimit(idle=timedelta(hours=12), longest=timedelta(days=7)),
    User.Role.BOTTLING: SessionLimit(idle=timedelta(days=7), longest=timedelta(days=30)),
    User.Role.STAND: SessionLimit(idle=timedelta(days=30), longest=timedelta(days=90)),
}
# A session in which nobody is signed in holds a message or a language at most.
NOBODY_SIGNED_IN = SessionLimit(idle=timedelta(days=1), longest=timedelta(days=1))
# Not every page writes that somebody was there.
SEEN_AGAIN_AFTER = timedelta(minutes=5)


def session_ends_at(role: str | None, *, started_at: datetime, seen_at: datetime) -> datetime:
    """Return when a session ends unless it is used again; a role of None is nobody."""
    limit = SESSION_LIMITS[User.Role(role)] if role else NOBODY_SIGNED_IN
    return min(seen_at + limit.idle, started_at + limit.longest)


TOKEN_DAYS_MAX = 365
TOKENS_MAX = 50
