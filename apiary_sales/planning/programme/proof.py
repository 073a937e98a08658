"""The best plan, proved in exact figures.

The search answers in floats, and none of its answers is believed: the whole numbers it finds are
checked against every limit and valued again in fractions, and no plan is returned that earns less
than selling all honey in drums. What could be earned at most is exact as well.
"""

import time
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from types import MappingProxyType
from typing import Literal

from apiary_sales.planning.programme.plan import Plan, all_in_drums
from apiary_sales.planning.programme.pools import of_one_price, pools_of, share_out
from apiary_sales.planning.programme.problem import Programme
from apiary_sales.planning.programme.table import Table

LimitKind = Literal["honey", "part", "minutes", "buyer"]

# Prices come back as floats; true ones are ratios of the small numbers that went in.
_DENOMINATOR_MAX = 1_000_000

# A plan that no other beats by more than this part is close to the best.
CLOSE = Fraction(1, 1000)
# A search stops when no other plan earns more than such a part more: a third of what is close, for
# sharing out costs a little as well.
GAP = 0.0003
# A table with no more columns than this is searched vessel by vessel.
SMALL_COLUMNS = 150
# A plan of pools is made better by opening so many vessels to every product, each time so long.
OPEN_AT_ONCE = 5
ROUND_SECONDS = 1.5
# So much of the time is for the first of two searches.
SHARE_OF_TIME = 0.6


@dataclass(frozen=True)
class Answer:
    """The best plan found. Without `is_proven`, one may earn more, but never more than
    `cents_at_most`.

    `is_bound_exact` says that this was worked out in fractions. If not, it is what the search says,
    in floats.
    """

    plan: Plan
    is_proven: bool
    cents_at_most: Fraction
    is_bound_exact: bool = True

    @property
    def is_close(self) -> bool:
        """No plan earns more than this one by more than a thousandth."""
        return self.cents_at_most - self.plan.cents <= CLOSE * abs(self.plan.cents)


@dataclass(frozen=True)
class Relaxation:
    """What could be earned if parts of pieces and drums could be sold, and what limits are worth.

    `cents_at_most` is exact and certain (weak duality holds for any prices on the limits, so the
    floats of the search can only make it too high). `rates` says by how much it rises with one
    gram, part, minute or piece more of each limit; for a buyer who takes none, what a piece would
    earn if they took one.
    """

    cents_at_most: Fraction
    rates: Mapping[tuple[LimitKind, str], Fraction]


def solve(programme: Programme, *, seconds: float = 5) -> Answer:
    """Find the plan that earns most, within `seconds`; there is always one: sell all in drums."""
    fallback = all_in_drums(programme)
    answer = _best(programme, None, seconds)
    if answer is None or answer.plan.cents < fallback.cents:
        # A finished search can fall behind only by the rounding of its floats.
        at_most = answer.cents_at_most if answer else relax(programme).cents_at_most
        at_most = max(at_most, fallback.cents)
        is_exact = answer is None or answer.is_bound_exact
        return Answer(fallback, at_most == fallback.cents and is_exact, at_most, is_exact)
    return answer


def solve_with_sales(
    programme: Programme, sales: Mapping[str, int], *, seconds: float = 5
) -> Answer | None:
    """Find the plan that earns most where each buyer gets exactly so many pieces.

    None comes back when that can't be done, or was not found within `seconds`.
    """
    return _best(programme, sales, seconds)


def in_order(answer: Answer, *, seconds: float = 1) -> Answer:
    """Return a plan that earns as much out of vessels that come earlier, if there is one.

    Where vessels are alike, a search takes any of them; a house opens them in their order.
    """
    plan, pools = answer.plan, of_one_price(answer.plan.programme)
    pool_of = {vessel.key: pool.key for pool in pools for vessel in pool.vessels}
    pieces: dict[tuple[str, str], int] = defaultdict(int)
    for (key, product), count in plan.pieces.items():
        pieces[pool_of[key], product] += count
    only = share_out(plan.programme, pools, pieces, {})
    if only == set(plan.pieces):
        return answer
    found, _is_finished = _searched(Table(plan.programme, only=only), seconds, 0)
    return replace(answer, plan=found.plan) if found and found.plan.cents >= plan.cents else answer


def relax(programme: Programme, *, in_pools: bool = False) -> Relaxation:
    """Solve the same programme with counts that need not be whole, and price its limits.

    `in_pools` prices the honey of vessels that are alike together, under the key of their pool.
    """
    return _relax(Table(programme, pools=pools_of(programme) if in_pools else None))


def _best(programme: Programme, sales: Mapping[str, int] | None, seconds: float) -> Answer | None:
    """Return the best plan found, with what none earns more than; None without a plan.

    A small house is searched vessel by vessel, until its best plan is proven. In a large one the
    search is for the runs of pools; the plan is then worked out for the vessels that these runs
    are shared out to.
    """
    deadline = time.monotonic() + seconds
    table = Table(programme, sales)
    answer = None
    if len(table.earns) <= SMALL_COLUMNS:
        answer, is_finished = _searched(table, seconds * SHARE_OF_TIME, 0)
        if is_finished:
            return answer
    found = _best_of_pools(programme, sales, deadline)
    if answer is None or found is None:
        return answer or found
    tighter = min(answer, found, key=lambda each: each.cents_at_most)
    better = max(answer, found, key=lambda each: each.plan.cents)
    return replace(tighter, plan=better.plan, is_proven=better.plan.cents == tighter.cents_at_most)


def _best_of_pools(
    programme: Programme,
    sales: Mapping[str, int] | None,
    deadline: float,
) -> Answer | None:
    from apiary_sales.planning.programme import search

    pools = pools_of(programme)
    pooled = Table(programme, sales, pools=pools)
    seconds = (deadline - time.monotonic()) * SHARE_OF_TIME
    found = search.whole_counts(pooled, seconds=seconds, gap=GAP)
    if found.counts is None:
        return None
    only = share_out(programme, pools, pooled.pieces(found.counts), pooled.drums_left(found.counts))
    shared = Table(programme, sales, only=only)
    answer, _is_finished = _searched(shared, deadline - time.monotonic(), GAP / 2)
    if answer is None:
        return None
    best = _answer(pooled, answer.plan, False, found.earns_at_most)
    failed, rounds = 0, 0
    while not best.is_close and failed * OPEN_AT_ONCE < len(programme.honeys):
        seconds = min(deadline - time.monotonic(), ROUND_SECONDS)
        if seconds <= 0:
            break
        plan = _improved(best.plan, sales, rounds, seconds)
        rounds += 1
        failed = 0 if plan else failed + 1
        if plan:
            best = _answer(pooled, plan, False, found.earns_at_most)
    return best


def _improved(
    plan: Plan, sales: Mapping[str, int] | None, number: int, seconds: float
) -> Plan | None:
    """Return a plan that earns more; None where none was found in time.

    Some vessels at a time are open to every product, others in each round: those first that are
    opened and have most left. The runs from all other vessels stay, in other numbers of pieces.
    """
    programme = plan.programme
    opened = {key for key, _product in plan.pieces}
    left = {honey.key: Fraction(honey.grams) for honey in programme.honeys}
    for (key, product), count in plan.pieces.items():
        left[key] -= count * Fraction(programme.product_of[product].grams_each)
    keys = sorted(left, key=lambda key: (key not in opened, -left[key]))
    first = number * OPEN_AT_ONCE % len(keys)
    at_once = set((keys + keys)[first : first + OPEN_AT_ONCE])
    kept = {run for run in plan.pieces if run[0] not in at_once}
    anything = {(key, product.key) for key in at_once for product in programme.products}
    table = Table(programme, sales, only=anything | kept, kept=kept)
    answer, _is_finished = _searched(table, seconds, GAP / 2)
    return answer.plan if answer and answer.plan.cents > plan.cents else None


def _searched(table: Table, seconds: float, gap: float) -> tuple[Answer | None, bool]:
    """Search a table; return the best plan that keeps every limit exactly, and whether that, or
    that there is none, is proven."""
    from apiary_sales.planning.programme import search

    if not table.earns:
        return Answer(Plan(table.programme), True, Fraction(0)), True
    found = search.whole_counts(table, seconds=seconds, gap=gap)
    if found.counts is None:
        return None, found.is_finished
    plan = table.plan(found.counts)
    if any(plan.faults()):
        return None, False
    return _answer(table, plan, found.is_finished, found.earns_at_most), found.is_finished


def _answer(table: Table, plan: Plan, is_proven: bool, earns_at_most: float | None) -> Answer:
    if is_proven:
        return Answer(plan, True, plan.cents)
    at_most = max(plan.cents, _relax(table).cents_at_most)
    if at_most == plan.cents:
        return Answer(plan, True, at_most)
    if earns_at_most is not None:
        # A cent more than the floats say, for they are rounded.
        said = max(plan.cents, Fraction(ceil(earns_at_most)) + 1)
        if said < at_most and not (at_most - plan.cents <= CLOSE * abs(plan.cents)):
            return Answer(plan, False, said, is_bound_exact=False)
    return Answer(plan, False, at_most)


def _relax(table: Table) -> Relaxation:
    """Price the limits by the search, and bound the earnings exactly by these prices."""
    from apiary_sales.planning.programme import search

    if not table.earns:
        return Relaxation(Fraction(0), MappingProxyType({}))
    found = search.prices(table, table.highest)
    row_prices = [max(Fraction(0), _exact(price)) for price in found.rows]
    balance_prices = [_exact(price) for price in found.balances]
    at_most = _bound(table, row_prices, balance_prices)
    rates: dict[tuple[LimitKind, str], Fraction] = {}
    for name, price in zip(table.rows, row_prices, strict=True):
        match name:
            case ("honey" | "part" | "minutes" as kind, key):
                rates[kind, key] = price
    as_if_one = found
    if any(buyer.pieces_max == 0 for buyer in table.programme.buyers):
        as_if_one = search.prices(table, [1 if most == 0 else most for most in table.highest])
    rates |= _rates_of_buyers(table, found.highest, as_if_one.highest)
    return Relaxation(at_most, MappingProxyType(rates))


def _bound(table: Table, row_prices: list[Fraction], balance_prices: list[Fraction]) -> Fraction:
    """Return what no plan earns more than, whatever the prices are (weak duality).

    It is what is there of everything at its price, and for each column that earns more than the
    price of what it takes, that surplus as often as the column can count.
    """
    surplus = list(table.earns)
    taken = [row.amounts for row in table.rows.values()] + table.balances
    for amounts, price in zip(taken, row_prices + balance_prices, strict=True):
        for column, amount in amounts.items():
            surplus[column] -= amount * price
    at_most = Fraction(0)
    for price, row in zip(row_prices, table.rows.values(), strict=True):
        at_most += price * row.there
    for gain, implied in zip(surplus, table.implied, strict=True):
        at_most += max(Fraction(0), gain) * implied
    return at_most


def _rates_of_buyers(
    table: Table, prices: list[float], as_if_one: list[float]
) -> dict[tuple[LimitKind, str], Fraction]:
    """Return what one piece more is worth to each buyer, from the prices of the highest counts.

    A limit of zero has many right prices, the bare price of the jar among them: the price for
    those who take none is that of a search `as_if_one` were taken.
    """
    rates: dict[tuple[LimitKind, str], Fraction] = {}
    for buyer in table.programme.buyers:
        takes_none = buyer.pieces_max == 0
        price = (as_if_one if takes_none else prices)[table.columns["sold", buyer.key]]
        can_fill = not takes_none or _has_time_for(table.programme, buyer.product)
        rates["buyer", buyer.key] = max(Fraction(0), _exact(price)) if can_fill else Fraction(0)
    return rates


def _has_time_for(programme: Programme, product_key: str) -> bool:
    """Tell whether one piece can be filled at all: a run can't be set up in part."""
    minutes_each = programme.product_of[product_key].minutes_each
    return minutes_each + programme.minutes_per_run <= programme.minutes


def _exact(price: float) -> Fraction:
    return Fraction(price).limit_denominator(_DENOMINATOR_MAX)
