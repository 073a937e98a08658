"""What a short PIN may be, and how long one waits after wrong ones."""

import re
from datetime import timedelta
from itertools import pairwise

from django.utils.translation import gettext as _

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
