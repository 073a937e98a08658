"""A back-test of all policies, on one world or many, as a table."""

import math
import statistics
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from apiary_sales.planning.season import back_test, policies
from apiary_sales.planning.season.back_test import Outcome, Policy, World

PLAN = "season_plan"
HINDSIGHT = "with_hindsight"
# So much has to be known before the first plan: two years, for without them no spread is known.
BEGINS = 24


@dataclass(frozen=True)
class PolicyResult:
    """What one policy earned in each world, in cents, and what the plan earned more."""

    name: str
    outcomes: tuple[Outcome, ...]
    plan_more: tuple[float, ...]

    @property
    def mean_cents(self) -> float:
        return statistics.fmean(outcome.cents for outcome in self.outcomes)

    @property
    def spread_cents(self) -> float:
        return _spread([outcome.cents for outcome in self.outcomes])

    @property
    def more_cents(self) -> float:
        return statistics.fmean(self.plan_more)

    @property
    def more_error(self) -> float:
        """The standard error of the mean difference."""
        return _spread(self.plan_more) / math.sqrt(len(self.plan_more))

    @property
    def wins(self) -> int:
        """In how many worlds the plan earned more."""
        return sum(more > 0 for more in self.plan_more)

    @property
    def served(self) -> float:
        return statistics.fmean(outcome.served for outcome in self.outcomes)

    @property
    def drum_grams(self) -> float:
        return statistics.fmean(outcome.drum_grams for outcome in self.outcomes)


def compare(
    worlds: Iterable[World],
    *,
    begins: int = BEGINS,
    warm_up: Policy = policies.settled,
    more: Mapping[str, Policy] | None = None,
) -> list[PolicyResult]:
    """Carry out every policy in every world from the month `begins` on, and set them side by side.

    The season plan comes first and hindsight last; `more` are further policies.
    """
    chosen: dict[str, Policy] = {
        PLAN: policies.season_plan,
        **(more or {}),
        **policies.RULES,
        HINDSIGHT: policies.with_hindsight,
    }
    outcomes: dict[str, list[Outcome]] = {name: [] for name in chosen}
    for world in worlds:
        for name, policy in chosen.items():
            outcomes[name].append(back_test.run(world, policy, warm_up=warm_up, begins=begins))
    best = outcomes[PLAN]
    return [
        PolicyResult(
            name,
            tuple(rows),
            tuple(plan.cents - row.cents for plan, row in zip(best, rows, strict=True)),
        )
        for name, rows in outcomes.items()
    ]


def _spread(figures: Iterable[float]) -> float:
    figures = list(figures)
    return statistics.stdev(figures) if len(figures) > 1 else 0.0
