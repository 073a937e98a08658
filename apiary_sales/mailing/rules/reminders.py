"""Which reminder of an invoice is due."""

from collections.abc import Sequence
from datetime import date


def level_due(
    *, due_on: date, on: date, plan: Sequence[int], last_level: int, last_sent_on: date | None
) -> int | None:
    """Return which reminder of an invoice is due on a day: 1, 2, 3, or None.

    `plan` has the days after the due day of each. A reminder never skips the one before it, and a
    late one moves the next: between two there are at least as many days as in the plan.

    >>> on = date(2026, 9, 30)
    >>> level_due(due_on=date(2026, 9, 23), on=on, plan=(7, 21, 35), last_level=0,
    ...           last_sent_on=None)
    1
    """
    level = last_level + 1
    if level > len(plan) or (on - due_on).days < plan[level - 1]:
        return None
    if last_sent_on is not None:
        apart = plan[level - 1] - plan[last_level - 1]
        if (on - last_sent_on).days < apart:
            return None
    return level
