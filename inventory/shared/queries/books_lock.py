"""The closing of the books: its history, and what was entered on closed days."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from itertools import zip_longest

from inventory.shared.models import BooksLock


@dataclass(frozen=True)
class Closed:
    """Up to `until` nothing was to count from `since` on, to the next record or now."""

    until: date
    since: datetime
    to: datetime | None


def periods() -> Iterator[Closed]:
    """Yield each span of time in which days were closed, oldest first."""
    rows = list(BooksLock.objects.order_by("id"))
    for row, after in zip_longest(rows, rows[1:]):
        if row.locked_until is not None:
            yield Closed(row.locked_until, row.locked_at, after.locked_at if after else None)
