"""Measure what the service promises of its speed, and print one table of it.

    python -m tests.benchmarks --size whole --json table.json

The houses of `house.py` are built once and kept in --houses. Readings of a small and a large one
are taken by turns, the best of several each, so that what else the machine does falls on both. Each
row says what was measured, against what, how many times as much it is, how much it may be, and
whether that holds. `--size small` measures numbers of queries alone, which are the same on every
machine; `--only` rows whose name matches a pattern, or all of `--only writes`, `proofs`, `reports`
(of the large house), `many-at-once`, `papers` and `starting`, of which the last three need no
house. `--only many-houses` runs by that name alone: it makes 1,000 databases, or `--count`.
"""

import argparse
import json
import os
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path

from tests.benchmarks import (
    many_at_once,
    many_houses,
    papers,
    proofs,
    readings,
    reports,
    starting,
    writes,
)
from tests.benchmarks.visitor import Read, Visitor, visit

GROWTH, QUERIES = 1.3, 25
# Below so many milliseconds a reading is the same as another one.
SAME_MS = 4
ROUNDS, MORE_ROUNDS = 3, 6

RowsOf = Callable[[], Iterator[tuple[str, str, float, float, bool]]]
# Measured in seconds without the houses: asked for by name, or with the whole size.
APART: dict[str, RowsOf] = {each.NAME: each.rows for each in (many_at_once, papers, starting)}


@dataclass(frozen=True)
class Row:
    """A line of the table."""

    work: str
    against: str
    ratio: float
    to_reach: float
    held: bool


def writes_of(small: str, large: str, folder: Path, *, with_times: bool) -> Iterator[Row]:
    """Yield what each act costs beside the same rows by plain ORM, and how it grows."""
    in_small = writes.measured(small, folder)
    for name, act in in_small.items():
        most, savepoints = writes.STATEMENTS[name]
        against = f"{act.plain_statements} by plain ORM"
        held = act.statements <= most and act.savepoints <= savepoints
        yield Row(f"writes: statements of {name}", against, act.statements, most, held)
    if not with_times:
        return
    in_large = writes.measured(large, folder)
    for house, acts in (("", in_small), (", long history", in_large)):
        for name, act in acts.items():
            ratio = round(act.ms / act.plain_ms, 2)
            against = f"{act.plain_ms:.1f} ms → {act.ms:.1f} ms"
            work = f"writes: {name} by plain ORM{house}"
            yield Row(work, against, ratio, writes.RATIO, ratio <= writes.RATIO)
    for name, act in in_small.items():
        # The two are measured one after the other, so each is set against the plain rows beside it.
        times, in_long = (each.ms / each.plain_ms for each in (act, in_large[name]))
        against, held = f"{times:.2f} × → {in_long:.2f} ×", in_long <= GROWTH * times
        yield Row(f"writes: growth of {name}", against, round(in_long / times, 2), GROWTH, held)


def readings_of(small: Visitor, large: Visitor, *, only: str, with_times: bool) -> Iterator[Row]:
    """Yield how each reading grows from the small house to the large one, role by role."""
    found = readings.of(small)
    in_small, in_large = (found | house.ask(act="busy") for house in (small, large))
    for role in readings.ROLES:
        for name, address in in_small.items():
            work = f"{name} as {role}"
            if name in in_large and re.search(only, work):
                reads = (
                    partial(small.read, role, address),
                    partial(large.read, role, in_large[name]),
                )
                yield from _rows_of(work, *reads, with_times=with_times)


def _rows_of(
    work: str, small: Callable[..., Read], large: Callable[..., Read], *, with_times: bool
) -> Iterator[Row]:
    first = small(counted=True)
    if first.status != 200:
        return
    second = large(counted=True)
    most = max(first.queries, second.queries)
    yield Row(f"queries of {work}", "", most, QUERIES, second.status == 200 and most <= QUERIES)
    if with_times:
        yield _growth(work, small, large)


def _growth(work: str, small: Callable[[], Read], large: Callable[[], Read]) -> Row:
    """Compare the best of several readings, taken by turns; more of them where they are unlike."""
    best = [float("inf"), float("inf")]
    for rounds in (ROUNDS, MORE_ROUNDS):
        for _round in range(rounds):
            best = [min(best[0], small().ms), min(best[1], large().ms)]
            if best[1] > 5 * best[0] + SAME_MS:
                break  # So far off that no further round would bring it there.
        held = best[1] <= GROWTH * best[0] + SAME_MS
        if held or best[1] > 3 * best[0]:
            break
    against = f"{best[0]:.0f} ms → {best[1]:.0f} ms"
    return Row(work, against, round(best[1] / best[0], 2), GROWTH, held)


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("--size", choices=("small", "whole"), default="small")
    parser.add_argument("--only", default="", help="Only rows whose name matches this.")
    parser.add_argument(
        "--count", type=int, default=many_houses.COUNT, help="How many houses of many-houses."
    )
    parser.add_argument("--json", type=Path, help="Write the table to this file too.")
    parser.add_argument("--houses", type=Path, default=Path("/tmp/honey-houses"))
    parser.add_argument("--postgresql", help="A server with databases p10k and p1m (p100k).")
    asked = parser.parse_args()
    names = ("10k", "100k") if asked.size == "small" else ("10k", "1m")
    if asked.postgresql:
        urls = [f"{asked.postgresql}/p{name}" for name in names]
    else:
        urls = [f"sqlite:///{(asked.houses / name).resolve()}.sqlite3" for name in names]
    rows: list[Row] = []
    with ExitStack() as stack:
        for row in _asked_for(asked, urls, stack):
            rows.append(row)
            if asked.json:
                asked.json.write_text(json.dumps([asdict(each) for each in rows], indent=1))
            print(_line(row), flush=True)
    print(f"{sum(row.held for row in rows)} of {len(rows)} held", flush=True)
    raise SystemExit(os.EX_OK if all(row.held for row in rows) else 1)


def _asked_for(asked: argparse.Namespace, urls: list[str], stack: ExitStack) -> Iterator[Row]:
    is_whole = asked.size == "whole"
    if asked.only == many_houses.NAME:
        yield from (Row(*row) for row in many_houses.rows(asked.count))
        return
    for name, rows_of in APART.items():
        if asked.only == name or (is_whole and not asked.only):
            yield from (Row(*row) for row in rows_of())
    if asked.only == proofs.NAME or (is_whole and not asked.only):
        yield from (Row(*row) for row in proofs.rows(urls[1]))
    if asked.only in ("", writes.NAME):
        yield from writes_of(*urls, asked.houses, with_times=is_whole)
    if asked.only == reports.NAME or (is_whole and not asked.only):
        yield from (Row(*row) for row in reports.rows(urls[-1]))
    if asked.only not in (writes.NAME, proofs.NAME, reports.NAME, *APART):
        small, large = (stack.enter_context(visit(url)) for url in urls)
        yield from readings_of(small, large, only=asked.only, with_times=is_whole)


def _line(row: Row) -> str:
    held = "held" if row.held else "NOT HELD"
    return f"{row.work:<62} {row.against:>22} {row.ratio:>8} {row.to_reach:>5} {held}"


if __name__ == "__main__":
    main()
