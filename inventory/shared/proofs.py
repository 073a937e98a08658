"""Compare two sides of the books in the database itself, however many rows they have."""

from collections.abc import Iterator, Sequence
from typing import Any

from django.db import connection
from django.db.models import QuerySet


def unequal(
    one: Sequence[QuerySet[Any, Any]],
    other: Sequence[QuerySet[Any, Any]],
    *,
    keys: int = 1,
    figures: int = 1,
) -> Iterator[tuple[Any, ...]]:
    """Yield each key under which two sides do not add up to the same, in order, with their sums.

    A side is one or more queries of values: first so many that are the key, then so many whole
    figures that are added up. A row of the result is the key, the figures of the first side, then
    those of the other. The database compares, in one statement; a key that is on one side alone has
    zeros on the other.
    """
    names = ", ".join(f"k{number}" for number in range(keys))
    of_sides: list[list[str]] = [[], []]
    tables: list[str] = []
    chosen: list[str] = []
    params: list[Any] = []
    for side, queries in enumerate((one, other)):
        for query in queries:
            statement, given = query.order_by().query.sql_with_params()
            table = f"side_{len(tables)}"
            columns = ", ".join(f"v{number}" for number in range(figures))
            tables.append(f"{table}({names}, {columns}) AS ({statement})")
            params += given
            own = [f"v{number} AS v{side}_{number}" for number in range(figures)]
            none = [f"0 AS v{1 - side}_{number}" for number in range(figures)]
            both = [*own, *none] if side == 0 else [*none, *own]
            chosen.append(f"SELECT {names}, {', '.join(both)} FROM {table}")
        of_sides[side] = [f"SUM(v{side}_{number})" for number in range(figures)]
    differs = " OR ".join(f"{left} <> {right}" for left, right in zip(*of_sides, strict=True))
    statement = (
        f"WITH {', '.join(tables)} "
        f"SELECT {names}, {', '.join([*of_sides[0], *of_sides[1]])} "
        f"FROM ({' UNION ALL '.join(chosen)}) AS compared "
        f"GROUP BY {names} HAVING {differs} ORDER BY {names}"
    )
    with connection.chunked_cursor() as cursor:
        cursor.execute(statement, params)
        while rows := cursor.fetchmany(100):
            for row in rows:
                yield (*row[:keys], *(int(value) for value in row[keys:]))
