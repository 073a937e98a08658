"""What to bottle and what to sell in drums: an integer programme in exact figures, no Django.

    choose   whole pieces of each size from each vessel, whole drums from each vessel
    earn     jars at what each buyer pays, drums at the bid, less parts, labour and selling
    within   the honey of each vessel, the parts in stock and to be had, the minutes of work,
             and what each buyer takes

The honey itself is there already: it costs the same whichever way it is sold, so it is left out.

HiGHS (through SciPy) searches in floats. Nothing it answers is believed: the whole numbers it
finds are checked against every limit and valued again in fractions, and no plan is returned that
earns less than selling all honey in drums. Money is in cents, honey in grams, work in minutes.
"""

import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import floor
from types import MappingProxyType
from typing import Literal

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

Figure = int | Fraction
LimitKind = Literal["honey", "part", "minutes", "buyer"]

POUND_GRAMS = Fraction(45_359_237, 100_000)
HOUR_MINUTES = 60

# SciPy's words for how the search ended.
_SOLVED, _OUT_OF_TIME, _INFEASIBLE = 0, 1, 2
# Duals come back as floats; true ones are ratios of the small numbers that went in.
_DENOMINATOR_MAX = 1_000_000


@dataclass(frozen=True)
class Honey:
    """The honey of one vessel, and what one bulk unit (a drum, a pound) of it weighs and earns.

    Without `bulk_grams` nobody bids for it in bulk. Sizes in `never_in` are not filled from it.
    """

    key: str
    grams: Figure
    bulk_grams: Figure | None = None
    bulk_cents: Figure = 0
    never_in: frozenset[str] = frozenset()

    @property
    def bulk_max(self) -> int:
        return floor(self.grams / Fraction(self.bulk_grams)) if self.bulk_grams else 0

    def pieces_max(self, size: "Size") -> int:
        """Return how many pieces of a size the honey fills, were it filled into nothing else."""
        if size.key in self.never_in:
            return 0
        return floor(self.grams / Fraction(size.grams_each))


@dataclass(frozen=True)
class Need:
    """So many of a part for so many filled pieces of one run; a case begun is a case used."""

    part: str
    quantity: int = 1
    per_pieces: int = 1

    def of(self, pieces: int) -> int:
        return -(-pieces * self.quantity // self.per_pieces)


@dataclass(frozen=True)
class Size:
    """What one piece takes: honey drawn (overfill and loss included), minutes, parts."""

    key: str
    grams_each: Figure
    minutes_each: Figure = 0
    needs: tuple[Need, ...] = ()


@dataclass(frozen=True)
class Buyer:
    """Somebody who takes one size: what a piece earns after selling costs, and how many at most.

    Without `pieces_max` they take all there is.
    """

    key: str
    size: str
    cents_each: Figure
    pieces_max: int | None = None


@dataclass(frozen=True)
class Part:
    """Parts in stock and parts that can be ordered, with what using one of each costs.

    What is in stock is used first, so it may not cost more than what is ordered.
    """

    key: str
    stock: int
    stock_cents: Figure = 0
    order_max: int = 0
    order_cents: Figure = 0


@dataclass(frozen=True)
class Programme:
    """Everything the plan depends on. Raises ValueError where the figures contradict each other."""

    honeys: tuple[Honey, ...]
    sizes: tuple[Size, ...]
    buyers: tuple[Buyer, ...]
    parts: tuple[Part, ...] = ()
    minutes: Figure = 0
    cents_per_minute: Figure = 0
    minutes_per_run: Figure = 0

    def __post_init__(self) -> None:
        for rows in (self.honeys, self.sizes, self.buyers, self.parts):
            keys = [row.key for row in rows]
            if len(set(keys)) != len(keys):
                raise ValueError(f"Keys must differ: {keys}.")
        for honey in self.honeys:
            _check(honey.grams >= 0, f"honey of {honey.key} is less than nothing")
            _check(
                honey.bulk_grams is None or honey.bulk_grams > 0,
                f"a bulk unit of {honey.key} weighs nothing",
            )
            _check(honey.bulk_cents >= 0, f"bulk honey of {honey.key} earns less than nothing")
        for size in self.sizes:
            _check(size.grams_each > 0, f"size {size.key} takes no honey")
            _check(size.minutes_each >= 0, f"size {size.key} takes less than no time")
            for need in size.needs:
                _check(need.part in self.part_of, f"size {size.key} needs unknown {need.part}")
                _check(need.quantity > 0 and need.per_pieces > 0, f"need of {need.part} is nothing")
        for buyer in self.buyers:
            _check(buyer.size in self.size_of, f"buyer {buyer.key} wants unknown {buyer.size}")
            _check(buyer.pieces_max is None or buyer.pieces_max >= 0, f"{buyer.key} takes < 0")
        for part in self.parts:
            _check(part.stock >= 0 and part.order_max >= 0, f"part {part.key} is less than nothing")
            _check(min(part.stock_cents, part.order_cents) >= 0, f"part {part.key} costs < 0")
            _check(
                part.stock_cents <= part.order_cents or not part.order_max,
                f"part {part.key} in stock costs more than one ordered",
            )
        _check(
            min(self.minutes, self.cents_per_minute, self.minutes_per_run) >= 0,
            "labour is less than nothing",
        )

    @property
    def size_of(self) -> dict[str, Size]:
        return {size.key: size for size in self.sizes}

    @property
    def part_of(self) -> dict[str, Part]:
        return {part.key: part for part in self.parts}


def _check(holds: bool, told: str) -> None:
    if not holds:
        raise ValueError(f"The figures contradict each other: {told}.")


@dataclass(frozen=True)
class Plan:
    """Whole pieces and drums, with all that follows from them, in exact figures.

    `pieces` is keyed by vessel and size, `drums` by vessel, `sold` by buyer; nothing is left out
    that is not zero.
    """

    programme: Programme
    pieces: Mapping[tuple[str, str], int] = field(default_factory=dict)
    drums: Mapping[str, int] = field(default_factory=dict)
    sold: Mapping[str, int] = field(default_factory=dict)

    @property
    def pieces_by_size(self) -> dict[str, int]:
        return {
            size.key: sum(n for (_honey, key), n in self.pieces.items() if key == size.key)
            for size in self.programme.sizes
        }

    @property
    def grams_used(self) -> dict[str, Figure]:
        """Grams that leave each vessel, in jars and in drums."""
        sizes = self.programme.size_of
        used: dict[str, Figure] = {
            honey.key: self.drums.get(honey.key, 0) * (honey.bulk_grams or 0)
            for honey in self.programme.honeys
        }
        for (honey_key, size_key), count in self.pieces.items():
            used[honey_key] += count * sizes[size_key].grams_each
        return used

    @property
    def minutes_used(self) -> Figure:
        sizes = self.programme.size_of
        filling = sum(n * sizes[size].minutes_each for (_honey, size), n in self.pieces.items())
        return filling + len(self.pieces) * self.programme.minutes_per_run

    @property
    def parts_used(self) -> dict[str, int]:
        sizes = self.programme.size_of
        used = {part.key: 0 for part in self.programme.parts}
        for (_honey, size), count in self.pieces.items():
            for need in sizes[size].needs:
                used[need.part] += need.of(count)
        return used

    @property
    def parts_bought(self) -> dict[str, int]:
        used = self.parts_used
        return {part.key: max(0, used[part.key] - part.stock) for part in self.programme.parts}

    @property
    def labour_cents(self) -> Fraction:
        return Fraction(self.minutes_used * self.programme.cents_per_minute)

    @property
    def cents(self) -> Fraction:
        """What the plan earns, exact: jars and drums sold, less parts and labour."""
        earned = Fraction(0)
        for buyer in self.programme.buyers:
            earned += self.sold.get(buyer.key, 0) * buyer.cents_each
        for honey in self.programme.honeys:
            earned += self.drums.get(honey.key, 0) * honey.bulk_cents
        used, bought = self.parts_used, self.parts_bought
        for part in self.programme.parts:
            earned -= (used[part.key] - bought[part.key]) * part.stock_cents
            earned -= bought[part.key] * part.order_cents
        return earned - self.labour_cents

    def faults(self) -> Iterator[str]:
        """Name every limit the plan breaks, checked in exact figures."""
        for what in (self.pieces, self.drums, self.sold):
            for key, count in what.items():
                if not isinstance(count, int) or count <= 0:
                    yield f"{key} is {count!r}, no whole number above nothing"
        used = self.grams_used
        for honey in self.programme.honeys:
            if used[honey.key] > honey.grams:
                yield f"{honey.key} gives {used[honey.key]} g of {honey.grams} g"
            if self.drums.get(honey.key) and honey.bulk_grams is None:
                yield f"nobody bids for {honey.key} in bulk"
            for size in honey.never_in:
                if (honey.key, size) in self.pieces:
                    yield f"{size} is not filled from {honey.key}"
        if self.minutes_used > self.programme.minutes:
            yield f"the work takes {self.minutes_used} of {self.programme.minutes} minutes"
        bought = self.parts_bought
        for part in self.programme.parts:
            if bought[part.key] > part.order_max:
                yield f"{bought[part.key]} {part.key} to buy, {part.order_max} to be had"
        filled = self.pieces_by_size
        for size in self.programme.sizes:
            sold = sum(self.sold.get(b.key, 0) for b in self.programme.buyers if b.size == size.key)
            if sold != filled[size.key]:
                yield f"{filled[size.key]} {size.key} filled, {sold} sold"
        for buyer in self.programme.buyers:
            if buyer.pieces_max is not None and self.sold.get(buyer.key, 0) > buyer.pieces_max:
                yield f"{buyer.key} takes {buyer.pieces_max}, not {self.sold[buyer.key]}"


@dataclass(frozen=True)
class Answer:
    """The best plan found. Without `is_proven`, time ran out: one may earn more, but never more
    than `cents_at_most`."""

    plan: Plan
    is_proven: bool
    cents_at_most: Fraction


@dataclass(frozen=True)
class Relaxation:
    """What could be earned if pieces and drums could be parted, and what each limit is then worth.

    `cents_at_most` is exact and certain (weak duality holds for any prices on the limits, so the
    floats of the search can only make it too high). `rates` says by how much it rises with one
    gram, part, minute or piece more of each limit; for a buyer who takes none, what a piece would
    earn if they took one.
    """

    cents_at_most: Fraction
    rates: Mapping[tuple[LimitKind, str], Fraction]


@dataclass(frozen=True)
class Limit:
    """One limit: how much there is, how much the plan uses, and what more of it is worth.

    Amounts are grams, pieces or minutes. `step` is one pound, one piece or one hour;
    `step_cents` is what the best plan earns more with one step more, or None when there was no
    time to work it out; `rate_cents` what a step is worth if pieces could be parted.
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
        """More of it would earn more: at once, or when there is enough for a whole piece."""
        return bool(self.step_cents) or self.rate_cents > 0


def solve(
    programme: Programme,
    *,
    seconds: float = 5,
    sales: Mapping[str, int] | None = None,
) -> Answer | None:
    """Find the plan that earns most, within `seconds`.

    With `sales`, each buyer gets exactly so many pieces, and None comes back when that can't be
    done (or was not found in time). Without, there is always a plan: sell all in drums.
    """
    model = _Model(programme, sales)
    found, is_proven = model.search(seconds)
    if sales is None:
        fallback = all_in_drums(programme)
        if found is None or found.cents < fallback.cents:
            # A proven search can fall behind only by the rounding of its floats.
            found, is_proven = fallback, False
    if found is None:
        return None
    at_most = found.cents if is_proven else max(found.cents, model.relax().cents_at_most)
    return Answer(found, is_proven or at_most == found.cents, at_most)


def relax(programme: Programme) -> Relaxation:
    """Solve the same programme with pieces and drums that can be parted, and price its limits."""
    return _Model(programme).relax()


def all_in_drums(programme: Programme) -> Plan:
    """Return the plan that fills no jars: as many drums of every vessel as it holds."""
    drums = {h.key: h.bulk_max for h in programme.honeys if h.bulk_max and h.bulk_cents > 0}
    return Plan(programme, {}, drums, {})


def limits(answer: Answer, *, seconds: float = 5) -> list[Limit]:
    """Say for every limit what the plan uses of it and what more of it would earn.

    Each is found by solving again with one step more, all together within about `seconds`.
    """
    plan = answer.plan
    rates = relax(plan.programme).rates
    deadline = time.monotonic() + seconds
    found = [
        replace(limit, rate_cents=rates.get((limit.kind, limit.key), 0) * limit.step)
        for limit in _limits_of(plan)
    ]
    # Where the prices say that there is enough, one search shows it of all of them at once: what
    # is worth nothing together is worth nothing alone.
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


def _limits_of(plan: Plan) -> Iterator[Limit]:
    """Yield every limit with what the plan uses of it, not yet valued."""
    programme, grams_used, parts_used = plan.programme, plan.grams_used, plan.parts_used
    yield Limit("minutes", "", programme.minutes, plan.minutes_used, HOUR_MINUTES)
    for honey in programme.honeys:
        yield Limit("honey", honey.key, honey.grams, grams_used[honey.key], POUND_GRAMS)
    for part in programme.parts:
        yield Limit("part", part.key, part.stock + part.order_max, parts_used[part.key], 1)
    for buyer in programme.buyers:
        if buyer.pieces_max is not None:
            yield Limit("buyer", buyer.key, buyer.pieces_max, plan.sold.get(buyer.key, 0), 1)


def _with_more(programme: Programme, limit: Limit) -> Programme:
    """Return the programme with one step more of one limit."""
    match limit.kind:
        case "minutes":
            return replace(programme, minutes=programme.minutes + limit.step)
        case "honey":
            return replace(programme, honeys=_more(programme.honeys, limit, "grams"))
        case "part":
            return replace(programme, parts=_more(programme.parts, limit, "stock"))
    return replace(programme, buyers=_more(programme.buyers, limit, "pieces_max"))


def _more(rows: tuple, limit: Limit, figure: str) -> tuple:
    return tuple(
        replace(row, **{figure: getattr(row, figure) + limit.step}) if row.key == limit.key else row
        for row in rows
    )


@dataclass(frozen=True)
class Rest:
    """What is left once jars that are filled already are sold.

    `buyers` take only what is still to be filled for them; `spare` jars by size nobody takes.
    """

    buyers: tuple[Buyer, ...]
    spare: Mapping[str, int]


def less_on_hand(buyers: tuple[Buyer, ...], on_hand: Mapping[str, int]) -> Rest:
    """Take the jars that are filled already off what buyers take, the best payers served first."""
    left = dict(on_hand)
    served: dict[str, Buyer] = {}
    for buyer in sorted(buyers, key=lambda buyer: -buyer.cents_each):
        if buyer.pieces_max is not None:
            taken = min(buyer.pieces_max, left.get(buyer.size, 0))
            left[buyer.size] = left.get(buyer.size, 0) - taken
            buyer = replace(buyer, pieces_max=buyer.pieces_max - taken)
        served[buyer.key] = buyer
    return Rest(tuple(served[buyer.key] for buyer in buyers), MappingProxyType(left))


def _gain(answer: Answer, more: Programme, deadline: float) -> Fraction | None:
    seconds = deadline - time.monotonic()
    if not answer.is_proven or seconds <= 0:
        return None
    after = solve(more, seconds=seconds)
    if not after.is_proven:
        return None
    # What could be done with less can be done with more.
    return max(Fraction(0), after.plan.cents - answer.plan.cents)


class _Model:
    """The programme as columns and rows: maximise what the columns earn, within the rows.

    Columns: ("pieces", vessel, size), ("run", vessel, size) is 1 when there are any,
    ("begun", vessel, size, part) counts cases begun, ("sold", buyer), ("drums", vessel),
    ("bought", part). Rows are kept exact and given to the search as floats.
    """

    def __init__(self, programme: Programme, sales: Mapping[str, int] | None = None) -> None:
        self.programme = programme
        self.columns: dict[tuple, int] = {}
        self.earns: list[Fraction] = []
        self.lowest: list[int] = []
        # The limits that are asked for, and those that follow from them for every column.
        self.highest: list[int | None] = []
        self.implied: list[int] = []
        self.rows: dict[tuple, tuple[dict[int, Fraction], Fraction]] = {}
        self.balances: list[dict[int, Fraction]] = []
        self._build(sales)

    def _column(self, name: tuple, earns: Figure, *, implied: int, highest=None, lowest=0) -> int:
        self.columns[name] = len(self.earns)
        self.earns.append(Fraction(earns))
        self.lowest.append(lowest)
        self.highest.append(highest)
        self.implied.append(implied)
        return self.columns[name]

    def _row(self, name: tuple, there: Figure) -> dict[int, Fraction]:
        self.rows[name] = ({}, Fraction(there))
        return self.rows[name][0]

    def _build(self, sales: Mapping[str, int] | None) -> None:
        programme = self.programme
        parts = programme.part_of
        fit = {
            size.key: sum(honey.pieces_max(size) for honey in programme.honeys)
            for size in programme.sizes
        }
        minutes = self._row(("minutes", ""), programme.minutes)
        part_rows = {part.key: self._row(("part", part.key), part.stock) for part in parts.values()}
        wanted_of = {size.key: 0 for size in programme.sizes}
        balance: dict[str, dict[int, Fraction]] = {size.key: {} for size in programme.sizes}
        for buyer in programme.buyers:
            most = fit[buyer.size]
            wanted = None if sales is None else sales.get(buyer.key, 0)
            column = self._column(
                ("sold", buyer.key),
                buyer.cents_each,
                implied=most if buyer.pieces_max is None else min(most, buyer.pieces_max),
                highest=buyer.pieces_max if wanted is None else wanted,
                lowest=0 if wanted is None else wanted,
            )
            balance[buyer.size][column] = Fraction(-1)
            wanted_of[buyer.size] += self.implied[column] if wanted is None else wanted
        for honey in programme.honeys:
            grams = self._row(("honey", honey.key), honey.grams)
            if honey.bulk_grams is not None:
                column = self._column(
                    ("drums", honey.key), honey.bulk_cents, implied=honey.bulk_max
                )
                grams[column] = Fraction(honey.bulk_grams)
            for size in programme.sizes:
                # No more than anybody takes: the tighter the bound, the shorter the search. What
                # nobody takes still has its column: without it, a piece would seem to cost nothing.
                fits = honey.pieces_max(size)
                if most := min(fits, wanted_of[size.key] or fits):
                    column = self._pieces(honey, size, most, minutes, part_rows)
                    grams[column] = Fraction(size.grams_each)
                    balance[size.key][column] = Fraction(1)
        for part in parts.values():
            if part.order_max:
                column = self._column(
                    ("bought", part.key),
                    Fraction(part.stock_cents) - part.order_cents,
                    implied=part.order_max,
                    highest=part.order_max,
                )
                part_rows[part.key][column] = Fraction(-1)
        self.balances = [row for row in balance.values() if row]

    def _pieces(self, honey: Honey, size: Size, most: int, minutes, part_rows) -> int:
        programme, parts = self.programme, self.programme.part_of
        rate = Fraction(programme.cents_per_minute)
        column = self._column(
            ("pieces", honey.key, size.key), -rate * size.minutes_each, implied=most
        )
        minutes[column] = Fraction(size.minutes_each)
        for need in size.needs:
            cents = Fraction(parts[need.part].stock_cents)
            if need.quantity % need.per_pieces == 0:
                each, counted = need.quantity // need.per_pieces, column
            else:
                name = (honey.key, size.key, need.part)
                each, counted = 1, self._column(("begun", *name), 0, implied=need.of(most))
                begun = self._row(("begun", *name), 0)
                begun[column] = Fraction(need.quantity)
                begun[counted] = -Fraction(need.per_pieces)
            self.earns[counted] -= each * cents
            row = part_rows[need.part]
            row[counted] = row.get(counted, Fraction(0)) + each
        if programme.minutes_per_run:
            run = self._column(
                ("run", honey.key, size.key), -rate * programme.minutes_per_run, implied=1
            )
            minutes[run] = Fraction(programme.minutes_per_run)
            open_only = self._row(("run", honey.key, size.key), 0)
            open_only[column] = Fraction(1)
            open_only[run] = -Fraction(most)
        return column

    def search(self, seconds: float) -> tuple[Plan | None, bool]:
        """Return the best plan found that keeps every limit exactly, and whether it is proven."""
        if not self.earns:
            return Plan(self.programme), True
        table, there = self._table(self.rows.values())
        constraints = [LinearConstraint(table, -np.inf, there)]
        if self.balances:
            equal, zero = self._table((row, Fraction(0)) for row in self.balances)
            constraints.append(LinearConstraint(equal, zero, zero))
        highest = [
            implied if high is None else high
            for high, implied in zip(self.highest, self.implied, strict=True)
        ]
        result = milp(
            -self._floats(self.earns),
            integrality=np.ones(len(self.earns)),
            bounds=Bounds(self._floats(self.lowest), self._floats(highest)),
            constraints=constraints,
            options={"time_limit": max(seconds, 0.01), "mip_rel_gap": 0},
        )
        if result.x is None:
            return None, result.status == _INFEASIBLE
        plan = self._plan([round(value) for value in result.x])
        if any(plan.faults()):
            return None, False
        return plan, result.status == _SOLVED

    def relax(self) -> Relaxation:
        """Solve with parted pieces, and make of its prices a bound that is exact."""
        if not self.earns:
            return Relaxation(Fraction(0), MappingProxyType({}))
        result = self._parted(self.highest)
        prices = [max(Fraction(0), _exact(-price)) for price in result.ineqlin.marginals]
        balance_prices = (
            [_exact(-price) for price in result.eqlin.marginals] if self.balances else []
        )
        # What each column earns beyond the price of what it takes.
        surplus = list(self.earns)
        rows = [row for row, _there in self.rows.values()] + self.balances
        for row, price in zip(rows, [*prices, *balance_prices], strict=True):
            for column, amount in row.items():
                surplus[column] -= amount * price
        at_most = Fraction(0)
        for price, (_row, exact_there) in zip(prices, self.rows.values(), strict=True):
            at_most += price * exact_there
        for gain, implied in zip(surplus, self.implied, strict=True):
            at_most += max(Fraction(0), gain) * implied
        rates: dict[tuple[LimitKind, str], Fraction] = {
            name: price
            for name, price in zip(self.rows, prices, strict=True)
            if name[0] in ("honey", "part", "minutes")
        }
        rates |= {("buyer", key): rate for key, rate in self._rates_of_buyers(result).items()}
        return Relaxation(at_most, MappingProxyType(rates))

    def _rates_of_buyers(self, result) -> dict[str, Fraction]:
        """Return what one piece more is worth to each buyer of a solved programme.

        A limit of nothing has many right prices, the bare price of the jar among them: those who
        take none are asked again as if they took one.
        """
        takes_none = [buyer for buyer in self.programme.buyers if buyer.pieces_max == 0]
        asked = result
        if takes_none:
            asked = self._parted([1 if most == 0 else most for most in self.highest])
        rates = {}
        for buyer in self.programme.buyers:
            priced = asked if buyer in takes_none else result
            rate = _exact(-priced.upper.marginals[self.columns["sold", buyer.key]])
            can_fill = buyer not in takes_none or self._has_time_for(buyer.size)
            rates[buyer.key] = max(Fraction(0), rate) if can_fill else Fraction(0)
        return rates

    def _has_time_for(self, size_key: str) -> bool:
        """Say whether one piece can be filled at all: a run can't be set up in part."""
        minutes_each = self.programme.size_of[size_key].minutes_each
        return minutes_each + self.programme.minutes_per_run <= self.programme.minutes

    def _parted(self, highest: list[int | None]):
        """Solve with pieces and drums that can be parted, no column above its `highest`."""
        table, there = self._table(self.rows.values())
        equal, zero = self._table((row, Fraction(0)) for row in self.balances)
        result = linprog(
            -self._floats(self.earns),
            A_ub=table,
            b_ub=there,
            A_eq=equal if self.balances else None,
            b_eq=zero if self.balances else None,
            bounds=list(zip(self.lowest, highest, strict=True)),
            method="highs",
        )
        if result.status != _SOLVED:
            raise ArithmeticError(f"The relaxed plan was not found: {result.message}")
        return result

    def _plan(self, values: list[int]) -> Plan:
        pieces, drums, sold = {}, {}, {}
        for name, column in self.columns.items():
            if not (count := values[column]):
                continue
            match name:
                case ("pieces", honey, size):
                    pieces[honey, size] = count
                case ("drums", honey):
                    drums[honey] = count
                case ("sold", buyer):
                    sold[buyer] = count
        return Plan(self.programme, pieces, drums, sold)

    def _table(self, rows) -> tuple[np.ndarray, np.ndarray]:
        rows = list(rows)
        table = np.zeros((len(rows), len(self.earns)))
        for number, (row, _there) in enumerate(rows):
            for column, amount in row.items():
                table[number, column] = float(amount)
        return table, self._floats(there for _row, there in rows)

    @staticmethod
    def _floats(figures) -> np.ndarray:
        return np.array([float(figure) for figure in figures])


def _exact(price: float) -> Fraction:
    return Fraction(price).limit_denominator(_DENOMINATOR_MAX)
