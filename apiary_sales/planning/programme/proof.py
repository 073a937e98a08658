"""The best plan, proved in exact figures.

The search answers in floats, and none of its answers is believed: the whole numbers it finds are
checked against every limit and valued again in fractions, and no plan is returned that earns less
than selling all honey in drums. What could be earned at most is exact as well.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Literal

from apiary_sales.planning.programme.plan import Plan, all_in_drums
from apiary_sales.planning.programme.problem import Programme
from apiary_sales.planning.programme.table import Table

LimitKind = Literal["honey", "part", "minutes", "buyer"]

# Prices come back as floats; true ones are ratios of the small numbers that went in.
_DENOMINATOR_MAX = 1_000_000


@dataclass(frozen=True)
class Answer:
    """The best plan found. Without `is_proven`, time ran out: one may earn more, but never more
    than `cents_at_most`."""

    plan: Plan
    is_proven: bool
    cents_at_most: Fraction


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
    table = Table(programme)
    found, is_proven = _checked_search(table, seconds)
    fallback = all_in_drums(programme)
    if found is None or found.cents < fallback.cents:
        # A finished search can fall behind only by the rounding of its floats.
        found, is_proven = fallback, False
    return _answer(table, found, is_proven)


def solve_with_sales(
    programme: Programme, sales: Mapping[str, int], *, seconds: float = 5
) -> Answer | None:
    """Find the plan that earns most where each buyer gets exactly so many pieces.

    None comes back when that can't be done, or was not found within `seconds`.
    """
    table = Table(programme, sales)
    found, is_proven = _checked_search(table, seconds)
    return None if found is None else _answer(table, found, is_proven)


def relax(programme: Programme) -> Relaxation:
    """Solve the same programme with counts that need not be whole, and price its limits."""
    return _relax(Table(programme))


def _answer(table: Table, found: Plan, is_proven: bool) -> Answer:
    at_most = found.cents if is_proven else max(found.cents, _relax(table).cents_at_most)
    return Answer(found, is_proven or at_most == found.cents, at_most)


def _checked_search(table: Table, seconds: float) -> tuple[Plan | None, bool]:
    """Return the best plan found that keeps every limit exactly, and whether it is proven."""
    from apiary_sales.planning.programme import search

    if not table.earns:
        return Plan(table.programme), True
    found = search.whole_counts(table, seconds=seconds)
    if found.counts is None:
        return None, found.is_finished
    plan = table.plan(found.counts)
    if any(plan.faults()):
        return None, False
    return plan, found.is_finished


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
