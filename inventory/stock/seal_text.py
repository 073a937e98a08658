"""How rows of the books are written as text for the seal, and how a seal follows from them.

The text is the same on every database and in every later version: values in the order that the
version of the seal names, moments in UTC, a row with its lines in the order of their numbers.
"""

import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from inventory.shared.sealable import SealedKind

# Raise it with columns that are to be sealed too, and add them to each kind under the new number.
VERSION = 1
UTC = ZoneInfo("UTC")
# Enough that nobody finds another text with the same.
ROW_DIGITS = 32
# A noted seal: its digits in groups, whatever is between them, or all 64.
NOTED = re.compile(r"(?<![0-9a-f])(?:[0-9a-f]{4}[ \u00a0-]*){3,15}[0-9a-f]{4}(?![0-9a-f])")

# The digests of rows, by kind and number.
RowDigests = dict[tuple[str, int], str]


def row_digests(
    kind: SealedKind, version: int, *, after: int, until: int, using: str | None = None
) -> Iterator[tuple[int, str]]:
    """Yield number and digest of each row of a kind after one number and up to another."""
    columns = kind.columns[version]
    rows = kind.model._base_manager.using(using).filter(pk__gt=after, pk__lte=until)
    lines = kind.line_model._base_manager.using(using).filter(
        **{f"{kind.owner}__gt": after, f"{kind.owner}__lte": until}
    )
    of_row: dict[int, list[list[Any]]] = {}
    for owner, *line in lines.order_by("pk").values_list(kind.owner, *columns.of_lines):
        of_row.setdefault(owner, []).append([_plain(value) for value in line])
    for number, *row in rows.order_by("pk").values_list("pk", *columns.own):
        own = [_plain(value) for value in row]
        text = json.dumps([kind.name, number, own, of_row.get(number, [])], ensure_ascii=False)
        yield number, hashlib.sha256(text.encode()).hexdigest()[:ROW_DIGITS]


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    return value


def as_text(rows: Iterable[tuple[str, int, str]]) -> str:
    """Return kind, number and digest of each row as they are kept in a seal."""
    return "".join(f"{kind} {number} {digest}\n" for kind, number, digest in rows)


def read(text: str) -> RowDigests:
    """Return what `as_text` has written; lines that it never writes are left out."""
    found: RowDigests = {}
    for line in text.splitlines():
        parts = line.split(" ")
        if len(parts) == 3 and parts[1].isdigit():
            found[parts[0], int(parts[1])] = parts[2]
    return found


def digest(
    *,
    previous: str,
    number: int,
    version: int,
    made_at: datetime,
    last: Mapping[str, int],
    covered: int,
    rows: str,
) -> str:
    """Return the digest of a seal: over the one before, what it says of itself, and its rows."""
    ends = sorted(last.items())
    head = json.dumps([previous, number, version, _plain(made_at), ends, covered])
    return hashlib.sha256(f"{head}\n{rows}".encode()).hexdigest()


def noted_digits(text: str) -> str | None:
    """Return the digits of a seal that a person noted, from its line or from the digits alone."""
    found = NOTED.findall(text.lower())
    return re.sub("[^0-9a-f]", "", found[-1]) if found else None
