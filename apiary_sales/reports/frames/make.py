"""How frames are made: whole numbers that may be unknown, and plain text."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

WHOLE = "Int64"
TEXT = "object"


def frame_of(rows: Iterable[Sequence[Any]], dtypes: Mapping[str, str]) -> pd.DataFrame:
    """Return a frame of these rows, its columns and their dtypes as in `dtypes`; None is unknown.

    The columns and dtypes are the same when there are no rows.
    """
    columns = list(zip(*rows, strict=True)) or [()] * len(dtypes)
    return pd.DataFrame(
        {
            name: pd.Series(list(values), dtype=dtype)
            for (name, dtype), values in zip(dtypes.items(), columns, strict=True)
        }
    )


def sums(frame: pd.DataFrame, keys: Sequence[str], measures: Sequence[str]) -> pd.DataFrame:
    """Add the measures up by the keys, in the order the keys first come; unknown figures are left
    out, and a sum of nothing but unknown figures is unknown.
    """
    groups = frame.groupby(list(keys), sort=False, dropna=False)
    found = groups[list(measures)].sum(min_count=1).reset_index()
    return found.astype({key: frame[key].dtype for key in keys})


def total(frame: pd.DataFrame, name: str) -> int | None:
    """Return the sum of a column of whole numbers; None when no figure in it is known."""
    value = frame[name].sum(min_count=1)
    return None if pd.isna(value) else int(value)
