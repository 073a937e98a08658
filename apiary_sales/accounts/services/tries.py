"""Count tries of a PIN, a code or a lost password, each under the names it is counted for."""

from collections.abc import Callable
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from apiary_sales.accounts import rules
from apiary_sales.accounts.models import PinTries


def locked(*names: str) -> list[PinTries]:
    """Return the counts of these names, locked in one order, so that two who try wait in turn."""
    for name in sorted(names):
        PinTries.objects.get_or_create(about=name)
    return list(PinTries.objects.select_for_update().filter(about__in=names).order_by("about"))


def longest_wait(rows: list[PinTries], now: datetime) -> int:
    """Return for how many seconds none of these allows a further try."""
    return max((row.wait_seconds(now) for row in rows), default=0)


@transaction.atomic
def wait_for(*names: str) -> int:
    """Return for how many seconds none of these names allows a further try."""
    return longest_wait(locked(*names), timezone.now())


def compare(*names: str, is_right: Callable[[], bool]) -> tuple[bool, int]:
    """Compare unless one has to wait, and count: return whether it is right, and the wait.

    Comparing takes long, and nobody else could write meanwhile: it is done before the counts are
    locked. Of several who compare at once, those whom the others leave no try are told to wait,
    and not what came of theirs.
    """
    if waiting := wait_for(*names):
        return False, waiting
    was_right = is_right()
    with transaction.atomic():
        rows, now = locked(*names), timezone.now()
        if waiting := longest_wait(rows, now):
            return False, waiting
        count(rows, now, is_right=was_right)
        return was_right, longest_wait(rows, now)


def count(rows: list[PinTries], now: datetime, *, is_right: bool = False) -> None:
    """Count a try, with the wait that follows it; a right one begins the counts again."""
    for row in rows:
        row.wrong = 0 if is_right else row.wrong + 1
        wait = rules.wait_after(row.wrong)
        row.wait_until = now + wait if wait else None
        row.save(update_fields=["wrong", "wait_until"])
