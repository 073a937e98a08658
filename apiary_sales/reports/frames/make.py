"""How frames are made: whole numbers that may be unknown, and plain text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

WHOLE = "Int64"
TEXT = "object"


def frame_of(rows: Iterable[Sequence[Any]], dtypes: Mapping[str, str]) -> pd.DataFrame:
    """Return a frame of these rows, its columns and their dtypes as in `dtypes`; None is unknown.

    The columns and dtypes are the same when there are no rows.
    """
    import pandas as pd

    columns = list(zip(*rows, strict=True)) or [()] * len(dtypes)
    return pd.DataFrame(
        {
            name: pd.Series(list(values), dtype=dtype)
            for (name, dtype), values in zip(dtypes.items(), columns, strict=True)
        }
    )


def sums(frame: pd.DataFrame, keys: Sequence[str], measures: Sequence[str]) -> pd.DataFrame:
    """Add the measures up by the keys, in the order the keys first come; unknown figures are left
    out, and a sum of unknown figures only is unknown.
    """
    groups = frame.groupby(list(keys), sort=False, dropna=False)
    found = groups[list(measures)].sum(min_count=1).reset_index()
    return found.astype({key: frame[key].dtype for key in keys})


def plain(value: Any) -> Any:
    """Return a value of a frame as Python's own: int, date or text; None for unknown."""
    import pandas as pd

    if value is None or value is pd.NA:
        return None
    if isinstance(value, str | date | int):
        return value
    return None if pd.isna(value) else int(value)


def total(frame: pd.DataFrame, name: str) -> int | None:
    """Return the sum of a column of whole numbers; None when no figure in it is known."""
    return plain(frame[name].sum(min_count=1))
