"""What stands in the way where there is no blend, and how near it can come."""

import math
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from apiary_sales.planning.blending.problem import BlendProblem, LimitName, Measure
from apiary_sales.planning.blending.proof import SECONDS, solve

# A mean of floats this near to a whole step is that step.
_STEP_TOLERANCE = 1e-6
# A search for the nearest mean is done after so many rounds; it usually takes three.
_ROUNDS_MAX = 25


@dataclass(frozen=True)
class WayOut:
    """One limit that stands in the way, and the nearest figure with which there is a blend.

    In the units of the problem: grams, tenths of a millimetre, hundredths of a percent, vessels.
    """

    limit: LimitName
    nearest: int


@dataclass(frozen=True)
class Reach:
    """From which to which mean the honeys can be mixed, as whole steps; None where unknown."""

    low: int
    high: int


def ways_out(problem: BlendProblem, *, seconds: float = SECONDS) -> list[WayOut]:
    """Return each limit that alone stands in the way, with the nearest that can be reached.

    Every other limit stays as it is, and each figure is proved by a blend. Without any, no single
    limit is the reason.
    """
    deadline = time.monotonic() + seconds
    found = []
    for limit in _limits(problem):
        if (left := deadline - time.monotonic()) <= 0:
            break
        if (way := _way(problem, limit, left)) is not None:
            found.append(way)
    return found


def reach(problem: BlendProblem, measure: Measure, *, seconds: float = SECONDS) -> Reach | None:
    """Return from which to which mean a blend can be; None where there is no blend."""
    low, high = (
        _nearest_mean(problem, measure, sign, time.monotonic() + seconds / 2) for sign in (1, -1)
    )
    if low is None or high is None:
        return None
    # Of honeys that are alike, no whole step is between the two: the nearest one is told.
    first, last = math.ceil(low - _STEP_TOLERANCE), math.floor(high + _STEP_TOLERANCE)
    return Reach(min(first, round(high)), max(last, round(low)))


def _limits(problem: BlendProblem) -> Iterator[LimitName]:
    if problem.colour.high is not None:
        yield "colour_max"
    if problem.colour.low is not None:
        yield "colour_min"
    if problem.moisture.high is not None:
        yield "moisture_max"
    if problem.moisture.low is not None:
        yield "moisture_min"
    if problem.vessels_max is not None:
        yield "vessels_max"
    if problem.grams.low is not None:
        yield "grams_min"
    if problem.grams.high is not None:
        yield "grams_max"


def _way(problem: BlendProblem, limit: LimitName, seconds: float) -> WayOut | None:
    deadline = time.monotonic() + seconds
    without = with_limit(problem, limit, None)
    nearest: int | None
    match limit:
        case "colour_max" | "moisture_max":
            measure: Measure = "colour" if limit == "colour_max" else "moisture"
            mean = _nearest_mean(without, measure, 1, deadline)
            nearest = None if mean is None else math.ceil(mean - _STEP_TOLERANCE)
            step = 1
        case "colour_min" | "moisture_min":
            measure = "colour" if limit == "colour_min" else "moisture"
            mean = _nearest_mean(without, measure, -1, deadline)
            nearest = None if mean is None else math.floor(mean + _STEP_TOLERANCE)
            step = -1
        case "vessels_max":
            nearest, step = _fewest_vessels(without, seconds), 1
        case "grams_min":
            nearest, step = _total(without, -1.0, seconds), -1
        case _:
            nearest, step = _total(without, 1.0, seconds), 1
    # Whole grams may need a step more than floats do.
    for wider in (0, step):
        if nearest is None or nearest + wider <= 0:
            break
        proved = with_limit(problem, limit, nearest + wider)
        if solve(proved, seconds=max(deadline - time.monotonic(), 0.5)).mixture is not None:
            return WayOut(limit, nearest + wider)
    return None


def with_limit(problem: BlendProblem, limit: LimitName, figure: int | None) -> BlendProblem:
    """Return the problem with another figure for one limit; None for no such limit."""
    match limit:
        case "colour_min":
            return replace(problem, colour=replace(problem.colour, low=figure))
        case "colour_max":
            return replace(problem, colour=replace(problem.colour, high=figure))
        case "moisture_min":
            return replace(problem, moisture=replace(problem.moisture, low=figure))
        case "moisture_max":
            return replace(problem, moisture=replace(problem.moisture, high=figure))
        case "grams_min":
            return replace(problem, grams=replace(problem.grams, low=figure))
        case "grams_max":
            return replace(problem, grams=replace(problem.grams, high=figure))
    return replace(problem, vessels_max=figure)


def _nearest_mean(
    problem: BlendProblem, measure: Measure, sign: int, deadline: float
) -> float | None:
    """Return the least mean that can be reached; with a `sign` of -1, the highest.

    A mean is a fraction of two sums. From one mixture to the next, the mixture is looked for that
    is furthest below the mean of the last one (Dinkelbach 1967, from memory), until none is.
    """
    from apiary_sales.planning.blending import search

    figures: Mapping[str, int | None] = {
        source.key: getattr(source, measure) for source in problem.all_sources
    }
    if None in figures.values():
        return None
    found = search.best_grams(problem, {}, seconds=max(deadline - time.monotonic(), 0.1))
    if found.grams is None:
        return None
    mean = _mean(problem, measure, found.grams)
    for _round in range(_ROUNDS_MAX):
        worth = {key: sign * ((figure or 0) - mean) for key, figure in figures.items()}
        found = search.best_grams(problem, worth, seconds=max(deadline - time.monotonic(), 0.1))
        if found.grams is None:
            return mean
        better = _mean(problem, measure, found.grams)
        if sign * (mean - better) < _STEP_TOLERANCE / 10:
            return mean
        mean = better
    return mean


def _mean(problem: BlendProblem, measure: Measure, grams: Mapping[str, float]) -> float:
    parts = [(getattr(source, measure), grams[source.key]) for source in problem.sources]
    if problem.there:
        parts.append((getattr(problem.there, measure), float(problem.there.grams)))
    total = sum(taken for _figure, taken in parts)
    return sum(figure * taken for figure, taken in parts) / total if total else 0.0


def _fewest_vessels(problem: BlendProblem, seconds: float) -> int | None:
    from apiary_sales.planning.blending import search

    found = search.fewest_vessels(problem, seconds=seconds)
    return None if found.grams is None else round(found.least)


def _total(problem: BlendProblem, sign: float, seconds: float) -> int | None:
    """Return the least weight in grams that can be blended; with a `sign` of -1, the most."""
    from apiary_sales.planning.blending import search

    worth = {source.key: sign for source in problem.sources}
    found = search.best_grams(problem, worth, seconds=seconds)
    if found.grams is None:
        return None
    there = problem.there.grams if problem.there else 0
    total = sum(found.grams.values()) + there
    return math.floor(total + _STEP_TOLERANCE) if sign < 0 else math.ceil(total - _STEP_TOLERANCE)
