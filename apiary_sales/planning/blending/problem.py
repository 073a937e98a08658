"""What a blend depends on: the honeys and the limits, in whole figures."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

LimitName = Literal[
    "grams_min",
    "grams_max",
    "colour_min",
    "colour_max",
    "moisture_min",
    "moisture_max",
    "vessels_max",
]
Measure = Literal["colour", "moisture"]


@dataclass(frozen=True)
class Span:
    """From which to which figure something may be, both included; None where it has no end."""

    low: int | None = None
    high: int | None = None

    def __contains__(self, figure: Fraction | int) -> bool:
        return (self.low is None or figure >= self.low) and (
            self.high is None or figure <= self.high
        )

    @property
    def is_open(self) -> bool:
        return self.low is None and self.high is None


@dataclass(frozen=True)
class BlendSource:
    """The honey of one vessel that may be used.

    At least `least` grams of it must be; with `is_whole` it is used all or not at all. `colour` in
    tenths of a millimetre Pfund is None where it is unknown, `moisture` is in hundredths of a
    percent.
    """

    key: str
    grams: int
    cents_per_gram: Fraction
    moisture: int
    colour: int | None = None
    least: int = 0
    is_whole: bool = False


@dataclass(frozen=True)
class BlendProblem:
    """The honeys, and what their mixture must be.

    `there` is what is in the target already: all of it is part of the mixture, and it is no vessel
    that is poured from. From a vessel that is used come at least `least_each` grams, or all it has.
    Raises ValueError where a colour is asked for and that of a honey is unknown.
    """

    sources: tuple[BlendSource, ...]
    grams: Span
    colour: Span = field(default_factory=Span)
    moisture: Span = field(default_factory=Span)
    vessels_max: int | None = None
    least_each: int = 1
    there: BlendSource | None = None

    def __post_init__(self) -> None:
        if not self.colour.is_open:
            for source in self.all_sources:
                if source.colour is None:
                    raise ValueError(f"The colour of {source.key} is not known.")

    @property
    def all_sources(self) -> tuple[BlendSource, ...]:
        return self.sources if self.there is None else (*self.sources, self.there)

    def least_of(self, source: BlendSource) -> int:
        """Return the fewest grams that come from a vessel if any do."""
        if source.is_whole:
            return source.grams
        return max(source.least, min(self.least_each, source.grams), 1)

    def mixture(self, grams: Mapping[str, int]) -> "Mixture":
        return Mixture(self, {key: taken for key, taken in grams.items() if taken})


@dataclass(frozen=True)
class Mixture:
    """Whole grams from each vessel, with all that follows from them in exact figures."""

    problem: BlendProblem
    grams: Mapping[str, int]

    @property
    def total(self) -> int:
        """All the grams of the mixture, with what was in the target."""
        there = self.problem.there
        return sum(self.grams.values()) + (there.grams if there else 0)

    @property
    def cents(self) -> Fraction:
        """What the honey is worth that is poured; what is in the target is there either way."""
        return sum(
            (
                self.grams.get(source.key, 0) * source.cents_per_gram
                for source in self.problem.sources
            ),
            Fraction(0),
        )

    def mean(self, measure: Measure) -> Fraction | None:
        """Return the mass-weighted mean; None where a figure is unknown or there is no honey."""
        total = Fraction(0)
        for source, taken in self._parts():
            figure = getattr(source, measure)
            if figure is None:
                return None
            total += figure * taken
        return total / self.total if self.total else None

    def broken(self) -> Iterator[str]:
        """Name everything that this mixture breaks, checked in whole figures."""
        problem = self.problem
        by_key = {source.key: source for source in problem.sources}
        for key in self.grams.keys() - by_key.keys():
            yield f"{key} is none of the honeys"
        for source in problem.sources:
            taken = self.grams.get(source.key, 0)
            if not isinstance(taken, int) or taken > source.grams:
                yield f"{source.key} gives {taken} g of {source.grams} g"
            elif taken < source.least or 0 < taken < problem.least_of(source):
                yield f"{source.key} gives only {taken} g"
        if self.total not in problem.grams:
            yield f"{self.total} g"
        measures: tuple[tuple[Measure, Span], ...] = (
            ("colour", problem.colour),
            ("moisture", problem.moisture),
        )
        for measure, span in measures:
            mean = self.mean(measure)
            if not span.is_open and (mean is None or mean not in span):
                yield f"the {measure} is {mean}"
        if problem.vessels_max is not None and len(self.grams) > problem.vessels_max:
            yield f"{len(self.grams)} vessels"

    def _parts(self) -> Iterator[tuple[BlendSource, int]]:
        for source in self.problem.sources:
            if taken := self.grams.get(source.key, 0):
                yield source, taken
        if there := self.problem.there:
            yield there, there.grams
