"""Count tries of a PIN, a code or a lost password, each under the names it is counted for."""

from datetime import datetime

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


def count(rows: list[PinTries], now: datetime, *, is_right: bool = False) -> None:
    """Count a try, with the wait that follows it; a right one begins the counts again."""
    for row in rows:
        row.wrong = 0 if is_right else row.wrong + 1
        wait = rules.wait_after(row.wrong)
        row.wait_until = now + wait if wait else None
        row.save(update_fields=["wrong", "wait_until"])
