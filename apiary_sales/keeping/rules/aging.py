"""Which backups are kept, and which have had their time."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

DAYS, WEEKS, MONTHS = 7, 4, 12


@dataclass(frozen=True)
class AgingCopy:
    """One backup in a folder; `made_at` is in the house's own time."""

    name: str
    made_at: datetime
    is_good: bool = True


def aged_out(copies: Iterable[AgingCopy], now: datetime) -> list[str]:
    """Return the names of those to remove, the oldest first.

    All of the last 7 days are kept, then the newest good one of each of the last 4 weeks and of
    each of the last 12 months (a week begins on Monday). The last good one is never removed.
    """
    ordered = sorted(copies, key=lambda copy: copy.made_at, reverse=True)
    good = [copy for copy in ordered if copy.is_good]
    kept = {copy.name for copy in ordered if now - copy.made_at < timedelta(days=DAYS)}
    kept |= {copy.name for copy in good[:1]}
    kept |= _newest_of_each(good, WEEKS, lambda at: at.isocalendar()[:2])
    kept |= _newest_of_each(good, MONTHS, lambda at: (at.year, at.month))
    return [copy.name for copy in reversed(ordered) if copy.name not in kept]


def _newest_of_each(
    newest_first: list[AgingCopy], count: int, span: Callable[[datetime], tuple[int, ...]]
) -> set[str]:
    """Return the newest of each of the last so many weeks or months that have one."""
    found: dict[tuple[int, ...], str] = {}
    for copy in newest_first:
        found.setdefault(span(copy.made_at), copy.name)
    return set(list(found.values())[:count])
