"""The search for a blend: HiGHS, through SciPy, in floats.

Importing this module imports SciPy, so it is done only when a blend is worked out. Nothing that is
found here is believed: `proof` checks it in whole grams.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

from apiary_sales.planning.blending.problem import BlendProblem, BlendSource, Span

_SOLVED, _INFEASIBLE = 0, 2
# Grams that a search in floats may be off; a limit is drawn in by as many grams of each vessel.
_ROUNDING_GRAMS = 1


@dataclass(frozen=True)
class Found:
    """Grams of each vessel as the search has them, in floats; None where it found none.

    `is_finished` says that there are none better, or none at all. No mixture has less than `least`
    of what was searched for.
    """

    grams: dict[str, float] | None
    is_finished: bool
    least: float = -inf


def best_grams(problem: BlendProblem, worth: Mapping[str, float], *, seconds: float) -> Found:
    """Search for the grams with which the sum of grams times `worth` is least.

    Grams need not be whole; whether a vessel is used at all is decided.
    """
    return _search(problem, worth, are_whole=False, seconds=seconds)


def whole_grams(
    problem: BlendProblem, worth: Mapping[str, float], used: Sequence[str], *, seconds: float
) -> Found:
    """Search for whole grams out of the vessels named in `used`, each of which is used."""
    return _search(_only(problem, used), worth, are_whole=True, seconds=seconds)


def whole_grams_of_any(
    problem: BlendProblem, worth: Mapping[str, float], *, seconds: float
) -> Found:
    """Search as `best_grams`, for whole grams."""
    return _search(problem, worth, are_whole=True, seconds=seconds)


def grams_with_room(
    problem: BlendProblem, worth: Mapping[str, float], used: Sequence[str], *, seconds: float
) -> Found:
    """Search as `whole_grams` for grams that keep the limits however each is rounded."""
    return _search(
        _only(problem, used), worth, are_whole=False, seconds=seconds, room=_ROUNDING_GRAMS
    )


def fewest_vessels(problem: BlendProblem, *, seconds: float) -> Found:
    """Search for a blend out of as few vessels as possible."""
    return _search(
        problem,
        {},
        are_whole=False,
        seconds=seconds,
        per_vessel=1.0,
    )


def _only(problem: BlendProblem, used: Sequence[str]) -> BlendProblem:
    """Return the problem with these vessels alone, each used, so that nothing is left to decide."""
    sources = tuple(
        BlendSource(
            source.key,
            source.grams,
            source.cents_per_gram,
            source.moisture,
            source.colour,
            least=problem.least_of(source),
        )
        for source in problem.sources
        if source.key in used
    )
    return BlendProblem(
        sources, problem.grams, problem.colour, problem.moisture, None, 1, problem.there
    )


def _search(
    problem: BlendProblem,
    worth: Mapping[str, float],
    *,
    are_whole: bool,
    seconds: float,
    room: int = 0,
    per_vessel: float = 0.0,
) -> Found:
    """Columns: the grams of each vessel, then 1 for each that is used, where that is decided."""
    sources = problem.sources
    count = len(sources)
    if not count:
        return _nothing_poured(problem)
    decides = (
        bool(per_vessel)
        or problem.vessels_max is not None
        or any(
            source.least < problem.least_of(source) and problem.least_of(source) > 1
            for source in sources
        )
    )
    columns = 2 * count if decides else count
    lows = np.zeros(columns)
    highs = np.ones(columns)
    for at, source in enumerate(sources):
        lows[at], highs[at] = source.least, source.grams
        if decides and source.least:
            lows[count + at] = 1
    rows: list[LinearConstraint] = []
    there = problem.there

    def row(amounts: Sequence[float], low: float, high: float) -> None:
        full = np.zeros(columns)
        full[:count] = amounts
        rows.append(LinearConstraint(full, low, high))

    in_target = there.grams if there else 0
    row(
        [1.0] * count,
        -inf if problem.grams.low is None else problem.grams.low - in_target,
        inf if problem.grams.high is None else problem.grams.high - in_target,
    )
    for measure, span in (("colour", problem.colour), ("moisture", problem.moisture)):
        for limit, sign in _ends(span):
            amounts = [sign * (getattr(source, measure) - limit) for source in sources]
            of_target = sign * (getattr(there, measure) - limit) * in_target if there else 0
            drawn_in = room * sum(abs(amount) for amount in amounts)
            row(amounts, -inf, -of_target - drawn_in)
    if decides:
        rows.extend(_rows_of_used(problem, columns))
    objective = np.zeros(columns)
    objective[:count] = [worth.get(source.key, 0.0) for source in sources]
    if decides:
        objective[count:] = per_vessel
    integrality = np.zeros(columns)
    integrality[:count] = are_whole
    integrality[count:] = 1
    result = milp(
        objective,
        integrality=integrality,
        bounds=Bounds(lows, highs),
        constraints=rows,
        options={"time_limit": max(seconds, 0.01), "mip_rel_gap": 0},
    )
    if result.x is None:
        return Found(None, result.status == _INFEASIBLE)
    least = getattr(result, "mip_dual_bound", None)
    return Found(
        {source.key: float(taken) for source, taken in zip(sources, result.x, strict=False)},
        result.status == _SOLVED,
        float(result.fun if least is None else least),
    )


def _rows_of_used(problem: BlendProblem, columns: int) -> list[LinearConstraint]:
    """Return the rows that tie the grams of a vessel to whether it is used."""
    count = len(problem.sources)
    rows = []
    for at, source in enumerate(problem.sources):
        most = np.zeros(columns)
        most[at], most[count + at] = 1, -source.grams
        rows.append(LinearConstraint(most, -inf, 0))
        fewest = np.zeros(columns)
        fewest[at], fewest[count + at] = -1, problem.least_of(source)
        rows.append(LinearConstraint(fewest, -inf, 0))
    if problem.vessels_max is not None:
        used: NDArray[np.float64] = np.zeros(columns)
        used[count:] = 1
        rows.append(LinearConstraint(used, -inf, problem.vessels_max))
    return rows


def _ends(span: Span) -> list[tuple[int, int]]:
    """Return the ends of a span, each with the sign by which being beyond it is above zero."""
    ends = []
    if span.high is not None:
        ends.append((span.high, 1))
    if span.low is not None:
        ends.append((span.low, -1))
    return ends


def _nothing_poured(problem: BlendProblem) -> Found:
    if any(problem.mixture({}).broken()):
        return Found(None, is_finished=True)
    return Found({}, is_finished=True, least=0.0)
