"""The best blend: found by the search, put into whole grams, and checked exactly."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from apiary_sales.planning.blending.problem import BlendProblem, Mixture

SECONDS = 5.0
# A used vessel has at least a gram, which floats tell from none.
_HALF_A_GRAM = 0.5
# Whole grams are found at once, unless hardly any keep the limits; there are three ways to them.
_WHOLE_SECONDS_MAX = 1.0


@dataclass(frozen=True)
class BlendAnswer:
    """The best blend that was found, and the cents that no blend is cheaper than.

    `mixture` is None where none was found; `is_finished` then says that there is none.
    """

    mixture: Mixture | None
    is_finished: bool
    cents_at_least: Fraction = Fraction(0)

    @property
    def cents_more_at_most(self) -> Fraction:
        """By how many cents a better blend could be cheaper, at most."""
        if self.mixture is None:
            return Fraction(0)
        return max(Fraction(0), self.mixture.cents - self.cents_at_least)


def solve(problem: BlendProblem, *, seconds: float = SECONDS) -> BlendAnswer:
    """Return the blend of least value in whole grams, every limit kept exactly.

    Which vessels are used is decided in floats, the grams of each are then found as whole numbers.
    """
    from apiary_sales.planning.blending import search

    worth = {source.key: float(source.cents_per_gram) for source in problem.sources}
    found = search.best_grams(problem, worth, seconds=seconds)
    if found.grams is None:
        return BlendAnswer(None, found.is_finished)
    used = [key for key, grams in found.grams.items() if grams >= _HALF_A_GRAM]
    at_least = max(Fraction(0), _exact(found.least))
    best: Mixture | None = None
    for attempt in _attempts(problem, worth, used):
        mixture = _rounded(problem, attempt)
        if mixture is not None and (best is None or mixture.cents < best.cents):
            best = mixture
        if best is not None and best.cents - at_least < 1:
            break
    # Without any, there is a blend, but none in whole grams was found.
    return BlendAnswer(best, found.is_finished and best is not None, at_least)


def _attempts(
    problem: BlendProblem, worth: Mapping[str, float], used: Sequence[str]
) -> Iterator[dict[str, float] | None]:
    """Yield grams that are whole, or keep the limits however they are rounded; each if wanted."""
    from apiary_sales.planning.blending import search

    yield search.whole_grams(problem, worth, used, seconds=_WHOLE_SECONDS_MAX).grams
    yield search.grams_with_room(problem, worth, used, seconds=_WHOLE_SECONDS_MAX).grams
    # Other vessels may do better in whole grams than those that are best in parts of grams.
    yield search.whole_grams_of_any(problem, worth, seconds=_WHOLE_SECONDS_MAX).grams


def _rounded(problem: BlendProblem, grams: dict[str, float] | None) -> Mixture | None:
    """Return grams in whole numbers with the same sum, if they keep every limit exactly."""
    if grams is None:
        return None
    used = {key: taken for key, taken in grams.items() if taken >= _HALF_A_GRAM}
    whole = {key: int(taken) for key, taken in used.items()}
    missing = round(sum(used.values())) - sum(whole.values())
    by_part = sorted(used, key=lambda key: whole[key] - used[key])
    for key in by_part[:missing]:
        whole[key] += 1
    mixture = problem.mixture(whole)
    return None if any(mixture.broken()) else mixture


def _exact(cents: float) -> Fraction:
    return Fraction(cents).limit_denominator(10**6)
