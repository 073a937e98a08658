"""The search for the best season plan: one linear programme over all cases, HiGHS through SciPy.

Importing this module imports SciPy, so it is imported only where a plan is worked out.

Demand of the season is higher or lower by a factor that is not known now, and so is the harvest.
The programme reckons with a few cases of both, each with its probability. What is done in month 0,
and what has to be ordered now, is the same in all cases; what comes later is decided when it is
seen how well things sell. Within a case, demand of a month comes by chance: of the last
pieces on the shelf a part only is expected to be sold in that month, and the others in the next.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_matrix
from scipy.special import gammainc, gammaincinv

from apiary_sales.planning.season import demand
from apiary_sales.planning.season.plan import Months, SeasonPlan
from apiary_sales.planning.season.problem import Outlet, SeasonProblem, SeasonProduct

# More cases than this make a large house wait.
CASES, CASES_OF_LARGE, LARGE = 5, 3, 600
# So little decides only between plans that earn the same: sell and fill no earlier than needed,
# and do not keep what is of no use.
PIECE_EPSILON, PART_EPSILON, GRAM_EPSILON = 1e-3, 1e-4, 1e-6
SOLVED = 0
# Which part of all harvests goes with each part of all demands, so that high demand is as likely
# with a poor harvest as with a good one; of three, it goes with the poor one.
HARVEST_OF = {5: (1, 4, 2, 0, 3), 3: (1, 2, 0)}

Case = int | None


@dataclass(frozen=True)
class PlanCase:
    """One case of what may come: its probability, and factors of demand and harvest."""

    share: float
    factors: dict[str, float]
    harvest: float = 1.0


class NotFound(ArithmeticError):
    """The search ended without a plan."""


@dataclass
class _Rows:
    """Constraints while they are gathered: the left sides by column, and the right sides."""

    names: dict[Hashable, int]
    cells: list[tuple[int, int, float]]
    right: list[float]

    def add(self, name: Hashable, amounts: Iterable[tuple[int, float]], right: float) -> None:
        row = len(self.right)
        self.names[name] = row
        self.cells += [(row, column, amount) for column, amount in amounts if amount]
        self.right.append(right)

    def matrix(self, columns: int) -> Any:
        if not self.right:
            return None
        rows, places, amounts = zip(*self.cells, strict=True) if self.cells else ((), (), ())
        return coo_matrix((amounts, (rows, places)), shape=(len(self.right), columns)).tocsr()


class _Programme:
    """Columns and rows of one problem; `drums_now` fixes what of some pools is sold in month 0.

    Then that honey leaves without bringing anything, so that what it is worth elsewhere is seen.
    """

    def __init__(self, problem: SeasonProblem, drums_now: Mapping[str, float]) -> None:
        self.problem, self.drums_now = problem, drums_now
        self.columns: dict[Hashable, int] = {}
        self.earns: list[float] = []
        self.high: list[float | None] = []
        self.means = {product.key: problem.mean_of(product.key) for product in problem.products}
        self.equal = _Rows({}, [], [])
        self.most = _Rows({}, [], [])
        self.cases = cases_of(problem)
        self.levels = demand.FEW_LEVELS if is_large(problem) else demand.LEVELS
        for number, case in enumerate(self.cases):
            self._case(number, case.share, case.factors, case.harvest)
        for key, grams in drums_now.items():
            self.equal.add(("now", key), [(self.columns["drum", None, key, 0], 1.0)], grams)

    def _column(self, name: Hashable, earns: float, high: float | None = None) -> int:
        """Return the column of a name; one that all cases share adds up what it earns."""
        if name in self.columns:
            column = self.columns[name]
            self.earns[column] += earns
            return column
        self.columns[name] = len(self.earns)
        self.earns.append(earns)
        self.high.append(high)
        return self.columns[name]

    def _case(self, case: int, share: float, factors: dict[str, float], harvest: float) -> None:
        problem = self.problem
        pool_rows: dict[tuple[str, int], list[tuple[int, float]]] = defaultdict(list)
        piece_rows: dict[tuple[str, int], list[tuple[int, float]]] = defaultdict(list)
        shelf_rows: dict[tuple[str, int], list[tuple[int, float]]] = defaultdict(list)
        part_rows: dict[tuple[str, int], list[tuple[int, float]]] = defaultdict(list)
        work: dict[int, list[tuple[int, float]]] = defaultdict(list)
        room: dict[int, list[tuple[int, float]]] = defaultdict(list)
        drums: dict[int, list[tuple[int, float]]] = defaultdict(list)
        last = problem.months - 1
        # Filling is no way to make honey dearer: in jars it counts as the cheapest that is kept.
        kept_each = min((pool.kept_cents for pool in problem.pools), default=0.0)
        part_of = {part.key: part for part in problem.parts}
        by_product: dict[str, list[Outlet]] = defaultdict(list)
        for outlet in problem.outlets:
            by_product[outlet.product].append(outlet)
        for t in range(problem.months):
            worth = share / (1 + problem.growth) ** t
            who: Case = None if t == 0 else case
            at_end = share / (1 + problem.growth) ** problem.months if t == last else 0.0
            for pool in problem.pools:
                stays = self._column(
                    ("bulk", case, pool.key, t),
                    -worth * problem.storage_cents
                    - share * GRAM_EPSILON
                    + at_end * pool.kept_cents,
                )
                pool_rows[pool.key, t].append((stays, 1.0))
                room[t].append((stays, 1.0))
                if t < last:
                    pool_rows[pool.key, t + 1].append((stays, -1.0))
                if pool.drum_cents is not None:
                    is_fixed = t == 0 and pool.key in self.drums_now
                    cents = 0.0 if is_fixed else worth * pool.drum_cents
                    drum = self._column(("drum", who, pool.key, t), cents)
                    pool_rows[pool.key, t].append((drum, 1.0))
                    drums[t].append((drum, 1.0))
            for product in problem.products:
                piece = (product.key, t)
                parts_cents = sum(
                    quantity * part_of[key].cents for key, quantity in product.needs.items()
                )
                minutes = product.minutes_each + problem.minutes_per_run / product.run_pieces
                stays = self._column(
                    ("pieces", case, *piece),
                    -worth * problem.storage_cents * product.grams_each
                    - share * _idle(product)
                    + at_end * (product.grams_each * kept_each + parts_cents),
                )
                piece_rows[piece].append((stays, 1.0))
                if t < last:
                    piece_rows[product.key, t + 1].append((stays, -1.0))
                    shelf_rows[product.key, t + 1].append((stays, -1.0))
                for pool in problem.pools:
                    if product.key in pool.never_in or not any(self.means[product.key]):
                        continue
                    fill = self._column(
                        ("fill", who, pool.key, *piece), -worth * minutes * problem.cents_per_minute
                    )
                    pool_rows[pool.key, t].append((fill, product.grams_each))
                    piece_rows[piece].append((fill, -1.0))
                    shelf_rows[piece].append((fill, -1.0))
                    work[t].append((fill, minutes))
                    for key, quantity in product.needs.items():
                        part_rows[key, t].append((fill, quantity))
                for outlet in by_product[product.key]:
                    mean = outlet.mean[t] * factors[product.key]
                    of_all = self.means[product.key][t] * factors[product.key]
                    for number, step in enumerate(self._steps(of_all)):
                        of_outlet = mean / of_all
                        if of_outlet <= 0:
                            continue
                        offered = self._column(
                            ("offer", case, outlet.key, t, number),
                            worth * step.sold * outlet.cents_each,
                            step.pieces * of_outlet,
                        )
                        piece_rows[piece].append((offered, step.sold))
                        shelf_rows[piece].append((offered, 1.0))
            for part in problem.parts:
                stays = self._column(
                    ("parts", case, part.key, t),
                    -share * PART_EPSILON + at_end * part.cents * (1 - 1e-6),
                )
                part_rows[part.key, t].append((stays, 1.0))
                if t < last:
                    part_rows[part.key, t + 1].append((stays, -1.0))
                if t >= part.first_month:
                    when: Case = None if t <= part.first_month else case
                    bought = self._column(("buy", when, part.key, t), -worth * part.cents)
                    part_rows[part.key, t].append((bought, -1.0))
        ready = {product.key: product.ready for product in problem.products}
        stock = {part.key: part.stock for part in problem.parts}
        arrives = {pool.key: pool.arrives for pool in problem.pools}
        for (key, t), amounts in pool_rows.items():
            comes = arrives[key][t] * (harvest if t else 1.0)
            self.equal.add(("honey", case, key, t), amounts, comes)
        for (key, t), amounts in piece_rows.items():
            self.equal.add(("pieces", case, key, t), amounts, ready[key] if t == 0 else 0.0)
        for (key, t), amounts in shelf_rows.items():
            self.most.add(("shelf", case, key, t), amounts, ready[key] if t == 0 else 0.0)
        for (key, t), amounts in part_rows.items():
            self.equal.add(("part", case, key, t), amounts, stock[key] if t == 0 else 0.0)
        if problem.minutes:
            for t, amounts in work.items():
                self.most.add(("work", case, t), amounts, problem.minutes[t])
        if problem.room_grams is not None:
            dearest = max((pool.drum_cents or 0.0 for pool in problem.pools), default=0.0)
            for t, amounts in room.items():
                beyond = self._column(("beyond", case, t), -share * (dearest + 0.1))
                self.most.add(("room", case, t), [*amounts, (beyond, -1.0)], problem.room_grams)
        if problem.drum_month_grams is not None:
            for t, amounts in drums.items():
                of_month = problem.month_share if t == 0 else 1.0
                self.most.add(("drums", case, t), amounts, problem.drum_month_grams * of_month)
        if problem.drum_year_grams is not None:
            for first in range(max(1, problem.months - 11)):
                window = [cell for t in range(first, first + 12) for cell in drums.get(t, [])]
                of_year = min(12, problem.months - first) / 12
                self.most.add(("year", case, first), window, problem.drum_year_grams * of_year)

    def solve(self) -> SeasonPlan:
        """Search for the plan that earns most. Raises `NotFound` where the search fails."""
        count = len(self.earns)
        result = linprog(
            -np.array(self.earns),
            A_ub=self.most.matrix(count),
            b_ub=self.most.right or None,
            A_eq=self.equal.matrix(count),
            b_eq=self.equal.right or None,
            bounds=[(0, high) for high in self.high],
            method="highs",
        )
        if result.status != SOLVED:
            raise NotFound(f"The season plan was not found: {result.message}")
        return self._plan(result)

    def _plan(self, result: Any) -> SeasonPlan:
        problem, x = self.problem, result.x
        shares = [case.share for case in self.cases]

        def mean(kind: str, *key: Hashable, t: int) -> float:
            shared = self.columns.get((kind, None, *key, t))
            if shared is not None:
                return float(x[shared])
            found = [
                (share, self.columns.get((kind, case, *key, t)))
                for case, share in enumerate(shares)
            ]
            return float(sum(share * x[column] for share, column in found if column is not None))

        def months(kind: str, *key: Hashable) -> Months:
            return tuple(mean(kind, *key, t=t) for t in range(problem.months))

        def worth(rows: _Rows, marginals: Any, name: str, *key: Hashable) -> float:
            """Return what one more is worth, in all cases together."""
            found = [rows.names.get((name, case, *key)) for case in range(len(shares))]
            return float(sum(-marginals[row] for row in found if row is not None))

        def each_month(name: str) -> Months:
            marginals = result.ineqlin.marginals
            return tuple(worth(self.most, marginals, name, t) for t in range(problem.months))

        def of_years() -> Months:
            """Return what a gram more that drum buyers take in a year is worth, by month."""
            firsts = range(max(1, problem.months - 11))
            cents = [worth(self.most, result.ineqlin.marginals, "year", first) for first in firsts]
            return tuple(
                sum(cents[first] for first in firsts if first <= t < first + 12)
                for t in range(problem.months)
            )

        sold: dict[str, Months] = {}
        for outlet in problem.outlets:
            sold[outlet.key] = tuple(
                sum(self._sold(x, outlet, case, t) * share for case, share in enumerate(shares))
                for t in range(problem.months)
            )
        equal = result.eqlin.marginals
        return SeasonPlan(
            value_cents=-float(result.fun),
            bottled={
                (pool.key, product.key): months("fill", pool.key, product.key)
                for pool in problem.pools
                for product in problem.products
                if product.key not in pool.never_in
            },
            sold=sold,
            drums={pool.key: months("drum", pool.key) for pool in problem.pools},
            bulk={pool.key: months("bulk", pool.key) for pool in problem.pools},
            on_hand={product.key: months("pieces", product.key) for product in problem.products},
            bought={part.key: months("buy", part.key) for part in problem.parts},
            too_much=months("beyond"),
            honey_cents={
                pool.key: worth(self.equal, equal, "honey", pool.key, 0) for pool in problem.pools
            },
            minute_cents=each_month("work"),
            room_cents=each_month("room"),
            drum_cents=_added(each_month("drums"), of_years()),
            part_cents={
                part.key: worth(self.equal, equal, "part", part.key, 0) for part in problem.parts
            },
            cases=len(shares),
        )

    def _steps(self, mean: float) -> tuple[demand.Step, ...]:
        if self.problem.is_certain:
            return (demand.Step(mean, 1.0),) if mean > 0 else ()
        return _steps(mean, self.levels)

    def _sold(self, x: Any, outlet: Outlet, case: int, t: int) -> float:
        factors = self.cases[case].factors
        mean = self.means[outlet.product][t] * factors[outlet.product]
        steps = self._steps(mean)
        columns = [
            self.columns.get(("offer", case, outlet.key, t, number)) for number in range(len(steps))
        ]
        return sum(
            float(x[column]) * step.sold
            for step, column in zip(steps, columns, strict=True)
            if column is not None
        )


def solve(problem: SeasonProblem, *, drums_now: Mapping[str, float] | None = None) -> SeasonPlan:
    """Return the plan that earns most; nothing that these figures allow earns more.

    With `drums_now` so many grams of these pools leave in drums now and bring nothing. Raises
    `NotFound`.
    """
    return _Programme(problem, drums_now or {}).solve()


def _added(one: Months, other: Months) -> Months:
    return tuple(first + second for first, second in zip(one, other, strict=True))


def _idle(product: SeasonProduct) -> float:
    """Return what a piece counts less for each month on the shelf.

    It is more than its honey and its parts count less meanwhile: otherwise large jars, which hold
    much honey, would be filled at once although nobody wants them for months.
    """
    honey = product.grams_each * GRAM_EPSILON
    return PIECE_EPSILON + honey + sum(product.needs.values()) * PART_EPSILON


def is_large(problem: SeasonProblem) -> bool:
    return len(problem.outlets) * problem.months > LARGE


def cases_of(problem: SeasonProblem) -> list[PlanCase]:
    """Return the cases of demand and harvest that a plan reckons with.

    Each factor is a gamma distribution of mean 1, cut into parts of the same probability; each part
    counts with its mean. All products are high or low together.
    """
    is_open = problem.harvest_variation > 0 or any(
        product.variation > 0 for product in problem.products
    )
    if problem.is_certain or not is_open:
        return [PlanCase(1.0, {product.key: 1.0 for product in problem.products})]
    count = CASES_OF_LARGE if is_large(problem) else CASES
    factors = {product.key: _factors(product.variation, count) for product in problem.products}
    harvests = _factors(problem.harvest_variation, count)
    return [
        PlanCase(
            1 / count,
            {key: row[number] for key, row in factors.items()},
            harvests[HARVEST_OF[count][number]],
        )
        for number in range(count)
    ]


def _factors(variation: float, count: int) -> list[float]:
    if variation <= 0:
        return [1.0] * count
    shape = 1 / variation**2
    edges = [float(gammaincinv(shape, number / count)) for number in range(1, count)]
    below = [0.0, *(float(gammainc(shape + 1, edge)) for edge in edges), 1.0]
    return [count * (high - low) for low, high in pairwise(below)]


@lru_cache(maxsize=20_000)
def _steps(mean: float, levels: tuple[float, ...]) -> tuple[demand.Step, ...]:
    """Return the steps of expected sales within a case, where only chance is left."""
    return tuple(demand.steps(mean, 0.0, levels))
