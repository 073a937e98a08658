"""The search for the best plan: HiGHS, through SciPy, in floats.

Importing this module imports SciPy, so `proof` does it only when a plan is worked out. It believes
none of what is found here: it checks it, and works it out again, in fractions.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array

from apiary_sales.planning.programme.table import Amounts, Table

# How SciPy says that a search ended; every other status left it unfinished.
_SOLVED, _INFEASIBLE = 0, 2


@dataclass(frozen=True)
class WholeCounts:
    """Whole numbers for the columns of a table; None where none were found in time.

    `is_finished` says that there are no better ones; without counts, that there are none at all.
    `earns_at_most` is what the search says no whole numbers earn more than, in floats.
    """

    counts: list[int] | None
    is_finished: bool
    earns_at_most: float | None = None


@dataclass(frozen=True)
class Prices:
    """By how much the earnings rise with one more of each row, balance and highest count."""

    rows: list[float]
    balances: list[float]
    highest: list[float]


def whole_counts(table: Table, *, seconds: float, gap: float = 0) -> WholeCounts:
    """Search for the whole numbers that earn most, for no longer than `seconds`.

    With a `gap`, it is enough that no others earn more than such a part more.
    """
    constraints = [
        LinearConstraint(_amounts_of_rows(table), -np.inf, _there(table)),
    ]
    if table.balances:
        zero = np.zeros(len(table.balances))
        constraints.append(LinearConstraint(_matrix(table.balances, table), zero, zero))
    highest = [
        implied if high is None else high
        for high, implied in zip(table.highest, table.implied, strict=True)
    ]
    result = milp(
        -_floats(table.earns),
        integrality=np.array(table.is_whole, dtype=int),
        bounds=Bounds(_floats(table.lowest), _floats(highest)),
        constraints=constraints,
        options={"time_limit": max(seconds, 0.01), "mip_rel_gap": gap},
    )
    bound = result.get("mip_dual_bound")
    at_most = None if bound is None or not np.isfinite(bound) else -float(bound)
    if result.x is None:
        return WholeCounts(None, result.status == _INFEASIBLE, at_most)
    is_finished = result.status == _SOLVED and not gap
    return WholeCounts([round(value) for value in result.x], is_finished, at_most)


def prices(table: Table, highest: Sequence[int | None]) -> Prices:
    """Search with counts that need not be whole, no column above its `highest`; price the limits.

    Raises `ArithmeticError` when the search does not end with an answer.
    """
    result = linprog(
        -_floats(table.earns),
        A_ub=_amounts_of_rows(table),
        b_ub=_there(table),
        A_eq=_matrix(table.balances, table) if table.balances else None,
        b_eq=np.zeros(len(table.balances)) if table.balances else None,
        bounds=list(zip(table.lowest, highest, strict=True)),
        method="highs",
    )
    if result.status != _SOLVED:
        raise ArithmeticError(f"The relaxed plan was not found: {result.message}")
    return Prices(
        rows=_negated(result.ineqlin.marginals),
        balances=_negated(result.eqlin.marginals) if table.balances else [],
        highest=_negated(result.upper.marginals),
    )


def _amounts_of_rows(table: Table) -> csr_array:
    return _matrix([row.amounts for row in table.rows.values()], table)


def _there(table: Table) -> NDArray[np.float64]:
    return _floats(row.there for row in table.rows.values())


def _matrix(rows: Sequence[Amounts], table: Table) -> csr_array:
    """Return the amounts of rows; few of them are not zero."""
    places = [
        (number, column, float(amount))
        for number, amounts in enumerate(rows)
        for column, amount in amounts.items()
    ]
    numbers, columns, amounts = zip(*places, strict=True) if places else ((), (), ())
    return csr_array((amounts, (numbers, columns)), shape=(len(rows), len(table.earns)))


def _floats(figures: Iterable[int | Fraction]) -> NDArray[np.float64]:
    return np.array([float(figure) for figure in figures])


def _negated(marginals: Any) -> list[float]:
    """Return the prices of a maximum from those of the minimum that SciPy looks for."""
    return [-float(marginal) for marginal in marginals]
