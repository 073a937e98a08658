"""Long lists: what all of their rows come to is asked of the database, and a page reads its own."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Listing:
    """The rows of a list, of which only those that are asked for are read.

    `keys` are those of all rows in the order of the list, and `read` returns the figures of the
    rows of some of them, in their order. `sums` are those of columns of whole numbers, None where
    no figure is known. What is entered while a long file is written may be in rows not yet read.
    """

    keys: Sequence[int]
    read: Callable[[Sequence[int]], Iterable[Sequence[Any]]]
    columns: Sequence[str]
    sums: Mapping[str, int | None]

    def __len__(self) -> int:
        return len(self.keys)

    def records(self, places: Iterable[int]) -> list[dict[str, Any]]:
        """Return rows by their places in the list."""
        rows = self.read([self.keys[at] for at in places])
        return [dict(zip(self.columns, row, strict=True)) for row in rows]

    def rows(self, at_once: int = 1000) -> Iterator[Sequence[Any]]:
        """Yield all rows, some in memory at a time."""
        for first in range(0, len(self.keys), at_once):
            yield from self.read(self.keys[first : first + at_once])
