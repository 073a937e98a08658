"""What holds a plan back, and what more of it is worth."""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypeVar

from apiary_sales.planning.programme.plan import Plan
from apiary_sales.planning.programme.pools import pools_of
from apiary_sales.planning.programme.problem import (
    HOUR_MINUTES,
    Figure,
    Honey,
    Part,
    PlannedBuyer,
    Programme,
)
from apiary_sales.planning.programme.proof import Answer, LimitKind, relax, solve

Row = TypeVar("Row", Honey, Part, PlannedBuyer)


@dataclass(frozen=True)
class Limit:
    """One limit: how much there is, how much the plan uses, and what more of it is worth.

    The honey of vessels that are alike is one limit, under the key of their pool.

    Amounts are grams, pieces or minutes. `step` is one pound, one piece or one hour;
    `step_cents` is what the best plan earns more with one step more, or None when there was no
    time to work it out; `rate_cents` is what a step is worth if parts of pieces could be sold.
    """

    kind: LimitKind
    key: str
    there: Figure
    used: Figure
    step: Figure
    step_cents: Fraction | None = None
    rate_cents: Fraction = Fraction(0)

    @property
    def left(self) -> Figure:
        return self.there - self.used

    @property
    def binds(self) -> bool:
        """More of this limit would earn more, at once or as soon as it allows a whole piece."""
        return bool(self.step_cents) or self.rate_cents > 0


def limits_of(answer: Answer, *, seconds: float = 5) -> list[Limit]:
    """Say for every limit what the plan uses of it and what more of it would earn.

    Each is found by solving again with one step more, all together within about `seconds`.
    """
    plan = answer.plan
    rates = relax(plan.programme, in_pools=True).rates
    deadline = time.monotonic() + seconds
    found = [
        replace(limit, rate_cents=rates.get((limit.kind, limit.key), Fraction(0)) * limit.step)
        for limit in _unvalued(plan)
    ]
    # Where the prices say that there is enough, one search shows it for all of these limits: if
    # more of all of them earns no more, then more of one of them earns no more either.
    idle = [limit for limit in found if not limit.rate_cents]
    together = plan.programme
    for limit in idle:
        together = _with_more(together, limit)
    are_idle = _gain(answer, together, deadline) == 0
    return [
        replace(
            limit,
            step_cents=Fraction(0)
            if are_idle and not limit.rate_cents
            else _gain(answer, _with_more(plan.programme, limit), deadline),
        )
        for limit in found
    ]


def _unvalued(plan: Plan) -> Iterator[Limit]:
    """Yield every limit with what the plan uses of it, not yet valued."""
    programme, grams_used, parts_used = plan.programme, plan.grams_used, plan.parts_used
    yield Limit("minutes", "", programme.minutes, plan.minutes_used, HOUR_MINUTES)
    for pool in pools_of(programme):
        used = sum(grams_used[vessel.key] for vessel in pool.vessels)
        yield Limit("honey", pool.key, pool.grams, used, programme.honey_step)
    for part in programme.parts:
        yield Limit("part", part.key, part.stock + part.order_max, parts_used[part.key], 1)
    for buyer in programme.buyers:
        if buyer.pieces_max is not None:
            yield Limit("buyer", buyer.key, buyer.pieces_max, plan.sold.get(buyer.key, 0), 1)


def _with_more(programme: Programme, limit: Limit) -> Programme:
    """Return the programme with one step more of one limit."""
    match limit.kind:
        case "minutes":
            return replace(programme, minutes=programme.minutes + HOUR_MINUTES)
        case "honey":
            honeys = _changed(
                programme.honeys,
                limit.key,
                lambda honey: honey.with_more(programme.honey_step),
            )
            return replace(programme, honeys=honeys)
        case "part":
            parts = _changed(
                programme.parts, limit.key, lambda part: replace(part, stock=part.stock + 1)
            )
            return replace(programme, parts=parts)
    buyers = _changed(
        programme.buyers,
        limit.key,
        lambda buyer: replace(buyer, pieces_max=(buyer.pieces_max or 0) + 1),
    )
    return replace(programme, buyers=buyers)


def _changed(rows: tuple[Row, ...], key: str, change: Callable[[Row], Row]) -> tuple[Row, ...]:
    return tuple(change(row) if row.key == key else row for row in rows)


def _gain(answer: Answer, more: Programme, deadline: float) -> Fraction | None:
    seconds = deadline - time.monotonic()
    if not answer.is_proven or seconds <= 0:
        return None
    after = solve(more, seconds=seconds)
    if not after.is_proven:
        return None
    # A plan that is possible with less is also possible with more.
    return max(Fraction(0), after.plan.cents - answer.plan.cents)
