"""What the running seal covers: each app registers its kind of sealed rows here.

An app says it in `ready()` of its `AppConfig`:

    sealable.register(SealedKind(name="posting", model=Posting, line_model=PostingLine, …))

The columns that are sealed are named by version and never changed: a column that comes later
belongs to the next version, so that rows sealed before keep their text.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Model


@dataclass(frozen=True)
class SealedColumns:
    """The columns whose values are sealed, of a row and of each of its lines."""

    own: tuple[str, ...]
    of_lines: tuple[str, ...]


@dataclass(frozen=True)
class SealedKind:
    """One kind of rows, each with its lines; `owner` is the column by which a line names its row.

    `columns` has them by the version of the seal.
    """

    name: str
    title: str
    model: type[Model]
    line_model: type[Model]
    owner: str
    columns: Mapping[int, SealedColumns]


_kinds: dict[str, SealedKind] = {}


def register(kind: SealedKind) -> None:
    """Add a kind; the seal covers kinds in the order of their registration."""
    _kinds[kind.name] = kind


def kinds() -> tuple[SealedKind, ...]:
    return tuple(_kinds.values())
