"""What the season plan answers: what to do, to order, what may run out, what is scarce."""

import calendar
import math
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property

from apiary_sales.planning.rules.figures import usual_drum_weight
from apiary_sales.planning.rules.season import SeasonQuestion
from apiary_sales.planning.season import demand
from apiary_sales.planning.season.plan import SeasonPlan
from inventory.bottling.models import PackagingPart, Product
from inventory.shared.weights import unit_grams

# Less than this is rounding of the search, and no advice.
PIECES_MIN, GRAMS_MIN = 0.5, 1000.0
# Of so many kinds of honey it is tried what the last drum would bring if it is kept.
KINDS_TRIED = 2
# A product is said to run out from this probability on, and to be safe below the other one.
LIKELY, SAFE = 0.5, 0.1
# So many months of parts are ordered at once.
MONTHS_OF_PARTS = 3


@dataclass(frozen=True)
class DrumKind:
    """So many drums of the honey of one list price by weight, and the least that is worth it.

    `least_price` is what the last of them brings if it is kept, or the first one if none is sold.
    `vessels` are those that hold such honey.
    """

    drums: int
    price: Decimal
    least_price: Decimal
    vessels: tuple[str, ...]


@dataclass(frozen=True)
class DrumAdvice:
    """How many drums of which honey to sell this month; without any, what one has to bring.

    `takes_grams` is the most that drum buyers take this month; None where no limit is known.
    """

    kinds: tuple[DrumKind, ...]
    grams: int
    drum_grams: int
    takes_grams: int | None
    is_limited: bool

    @property
    def drums(self) -> int:
        return sum(kind.drums for kind in self.kinds)


@dataclass(frozen=True)
class FillAdvice:
    """So many pieces of a product to fill this month."""

    product: Product
    pieces: int
    grams: int
    # More are likely to be wanted this month than are on hand.
    is_wanted_now: bool

    @property
    def cases(self) -> int:
        return self.pieces // self.product.pieces_per_case


@dataclass(frozen=True)
class PartAdvice:
    """Parts to order, by which day (None where their lead time is unknown), and for when."""

    part: PackagingPart
    pieces: int
    by: date | None
    needed: date


@dataclass(frozen=True)
class Chance:
    """The probability that a product is sold out by the end of a month: with the jars on hand
    alone, and with the plan."""

    month: date
    on_hand: float
    with_plan: float

    @property
    def on_hand_percent(self) -> int:
        return _percent(self.on_hand)

    @property
    def with_plan_percent(self) -> int:
        return _percent(self.with_plan)


@dataclass(frozen=True)
class StockOut:
    """When a product may run out."""

    product: Product
    ready: int
    chances: tuple[Chance, ...]
    on: date
    # Pieces wanted in each month on average, and by how much years differ.
    means: tuple[float, ...]
    variation: float

    @property
    def likely_by(self) -> Chance | None:
        """The first month end by which the jars on hand are more likely gone than not."""
        return next((each for each in self.chances if each.on_hand >= LIKELY), None)

    @property
    def likely_on(self) -> date | None:
        """The first day by which the jars on hand are as likely gone as not.

        Within a month the pieces that are wanted come evenly.
        """
        found = self.likely_by
        if found is None:
            return None
        last = calendar.monthrange(found.month.year, found.month.month)[1]
        first = max(self.on, found.month.replace(day=1))
        days = last - first.day + 1
        month = self.chances.index(found)
        before = sum(self.means[:month])
        for day in range(1, days):
            wanted = before + self.means[month] * day / days
            if _gone(wanted, self.variation, self.ready) >= LIKELY:
                return first + timedelta(days=day - 1)
        return first + timedelta(days=days - 1)

    @property
    def most_with_plan(self) -> Chance | None:
        """The month by whose end it is most likely that the plan's jars are gone too."""
        return max(self.chances, key=lambda each: each.with_plan, default=None)


@dataclass(frozen=True)
class SeasonMonth:
    """One month of the plan; weights in grams, money in whole cents."""

    month: date
    filled: int
    sold: int
    on_hand: int
    drum_grams: int
    bulk_grams: int
    harvest_grams: int
    hour_cents: int
    pound_cents: int
    room_cents: int
    minutes: int
    minutes_there: int | None
    is_part: bool

    @property
    def hours(self) -> int:
        return round(self.minutes / 60)

    @property
    def hours_there(self) -> int | None:
        return None if self.minutes_there is None else round(self.minutes_there / 60)


@dataclass(frozen=True)
class HarvestRoom:
    """Whether the honey fits at the end of a harvest month, and how likely that is."""

    month: date
    grams: int
    room_grams: int
    chance: float | None

    @property
    def percent(self) -> int | None:
        return None if self.chance is None else _percent(self.chance)

    @property
    def over_grams(self) -> int:
        return max(0, self.grams - self.room_grams)


@dataclass(frozen=True)
class PieceMonth:
    """Pieces of one product in one month: to fill, expected to be sold, left at its end."""

    month: date
    filled: int
    sold: int
    left: int


@dataclass(frozen=True)
class ProductMonths:
    """One product, month by month."""

    product: Product
    lines: tuple[PieceMonth, ...]


@dataclass(frozen=True)
class SeasonAnswer:
    """The plan of a season, in the words of what to do; whatever needs a search was done before."""

    question: SeasonQuestion
    plan: SeasonPlan
    drums: DrumAdvice | None

    @classmethod
    def of(cls, question: SeasonQuestion) -> "SeasonAnswer":
        """Work out the plan, and what the last drum is worth. Raises `ArithmeticError`."""
        from apiary_sales.planning.season import search

        plan = search.solve(question.problem)
        return cls(question, plan, _drums(question, plan))

    @property
    def months(self) -> list[date]:
        return [self.question.books.month(t) for t in range(self.question.problem.months)]

    @property
    def value_cents(self) -> int:
        return round(self.plan.value_cents)

    @cached_property
    def fills(self) -> list[FillAdvice]:
        """What to fill this month, the most honey first."""
        found = []
        for row in self.question.books.pieces:
            filled = self.plan.bottled_of(row.key)
            if filled and filled[0] >= PIECES_MIN:
                pieces = round(filled[0])
                found.append(
                    FillAdvice(
                        row.product,
                        pieces,
                        round(pieces * row.grams_each),
                        is_wanted_now=row.ready < self.question.problem.mean_of(row.key)[0],
                    )
                )
        return sorted(found, key=lambda each: -each.grams)

    @cached_property
    def orders(self) -> list[PartAdvice]:
        """The parts to order next, the most urgent first."""
        books, found = self.question.books, []
        for row in books.parts:
            bought = self.plan.bought.get(row.key, ())
            first = next((t for t, pieces in enumerate(bought) if pieces >= PIECES_MIN), None)
            if first is None:
                continue
            pieces = math.ceil(sum(bought[first : first + MONTHS_OF_PARTS]) - 1e-6)
            needed = books.on if first == 0 else books.month(first)
            days = row.part.lead_time_days
            by = None if days is None else max(books.on, needed - timedelta(days=days))
            found.append(PartAdvice(row.part, pieces, by, needed))
        return sorted(found, key=lambda each: (each.by or each.needed, each.part.name))

    @cached_property
    def stock_outs(self) -> list[StockOut]:
        """When each product may run out, those that do first come first."""
        books, problem = self.question.books, self.question.problem
        end = problem.months
        if self.question.harvest.first is not None:
            end = min(end, self.question.harvest.first + 1)
        found = []
        variation = {product.key: product.variation for product in problem.products}
        for row in books.pieces:
            mean = problem.mean_of(row.key)
            if not sum(mean):
                continue
            filled = self.plan.bottled_of(row.key) or (0.0,) * problem.months
            chances, wanted, supply = [], 0.0, float(row.ready)
            for t in range(end):
                wanted += mean[t]
                supply += filled[t]
                chances.append(
                    Chance(
                        books.month(t),
                        _gone(wanted, variation[row.key], row.ready),
                        _gone(wanted, variation[row.key], int(supply + 0.5)),
                    )
                )
            found.append(
                StockOut(
                    row.product,
                    row.ready,
                    tuple(chances),
                    books.on,
                    means=tuple(mean[:end]),
                    variation=variation[row.key],
                )
            )
        far = date.max
        return sorted(found, key=lambda each: (each.likely_on or far, -each.chances[-1].on_hand))

    @property
    def has_hours(self) -> bool:
        """Whether hours limit the plan: without a limit one hour more is worth nothing."""
        return bool(self.question.problem.minutes)

    @cached_property
    def month_rows(self) -> list[SeasonMonth]:
        problem, plan, books = self.question.problem, self.plan, self.question.books
        by_key = {product.key: product for product in problem.products}
        rows = []
        for t in range(problem.months):
            filled = {key: plan.bottled_of(key) for key in by_key}
            pieces = {key: row[t] if row else 0.0 for key, row in filled.items()}
            minutes = sum(by_key[key].minutes_each * count for key, count in pieces.items())
            there = problem.minutes[t] if problem.minutes else None
            rows.append(
                SeasonMonth(
                    month=books.month(t),
                    filled=round(sum(pieces.values())),
                    sold=round(sum(row[t] for row in plan.sold.values())),
                    on_hand=round(sum(row[t] for row in plan.on_hand.values())),
                    drum_grams=round(plan.drums_by_month[t]) if plan.drums else 0,
                    bulk_grams=round(plan.bulk_by_month[t]) if plan.bulk else 0,
                    harvest_grams=round(self.question.harvest.grams[t]),
                    hour_cents=round(plan.minute_cents[t] * 60),
                    pound_cents=round(plan.drum_cents[t] * float(unit_grams())),
                    room_cents=round(plan.room_cents[t] * float(unit_grams())),
                    minutes=round(minutes),
                    minutes_there=None if there is None or there >= 1e9 else round(there),
                    is_part=t == 0 and books.on.day > 1,
                )
            )
        return rows

    @cached_property
    def product_rows(self) -> list[ProductMonths]:
        problem, plan = self.question.problem, self.plan
        found = []
        for row in self.question.books.pieces:
            outlets = [each.key for each in problem.outlets if each.product == row.key]
            filled = plan.bottled_of(row.key)
            if not outlets:
                continue
            lines = tuple(
                PieceMonth(
                    month,
                    round(filled[t]) if filled else 0,
                    round(sum(plan.sold[key][t] for key in outlets)),
                    round(plan.on_hand[row.key][t]),
                )
                for t, month in enumerate(self.months)
            )
            found.append(ProductMonths(row.product, lines))
        return found

    @cached_property
    def rooms(self) -> list[HarvestRoom]:
        """Whether the honey of the next harvest fits, at the end of each of its months."""
        problem, harvest = self.question.problem, self.question.harvest
        if problem.room_grams is None or harvest.first is None:
            return []
        spread = harvest.spread
        found, come = [], 0.0
        for t in range(harvest.first, problem.months):
            if not harvest.grams[t]:
                continue
            come += harvest.grams[t]
            grams = self.plan.bulk_by_month[t]
            chance = None
            if spread is not None and harvest.total:
                part = spread * come / harvest.total
                chance = demand.chance_below(problem.room_grams, grams, part)
            found.append(
                HarvestRoom(
                    self.question.books.month(t), round(grams), round(problem.room_grams), chance
                )
            )
        return found

    @property
    def tightest_room(self) -> HarvestRoom | None:
        return min(self.rooms, key=lambda each: each.room_grams - each.grams, default=None)


def _drums(question: SeasonQuestion, plan: SeasonPlan) -> DrumAdvice | None:
    """Return what to sell in drums now; None where there is no honey with a price."""
    from apiary_sales.planning.season import search

    books, problem = question.books, question.problem
    bulk = [pool for pool in problem.pools if pool.drum_cents is not None and pool.arrives[0]]
    if not bulk:
        return None
    each = float(usual_drum_weight() * unit_grams())
    month = problem.drum_month_grams
    year = problem.drum_year_grams
    limits = [
        None if year is None else year * min(12, problem.months) / 12,
        None if month is None else month * problem.month_share,
    ]
    takes = min((limit for limit in limits if limit is not None), default=float("inf"))
    counts = {pool.key: int(plan.drums[pool.key][0] / each + 1e-6) for pool in bulk}
    sold = sorted((pool for pool in bulk if counts[pool.key]), key=lambda pool: -counts[pool.key])
    # Of what is not sold, the honey is shown that is nearest to it.
    nearest = min(bulk, key=lambda pool: plan.honey_cents[pool.key] - (pool.drum_cents or 0.0))
    kinds = []
    tried = 1 if search.is_large(problem) else KINDS_TRIED
    for number, pool in enumerate(sold or [nearest]):
        grams = counts[pool.key] * each
        more, less = max(0.0, grams - each), grams or min(each, pool.arrives[0], takes)
        worth = plan.honey_cents[pool.key]
        if number < tried and less - more > GRAMS_MIN:
            # The worth of everything else with one drum more here, less that with one drum less.
            with_more = search.solve(problem, drums_now={pool.key: more}).value_cents
            with_less = search.solve(problem, drums_now={pool.key: less}).value_cents
            worth = (with_more - with_less) / (less - more)
        kinds.append(
            DrumKind(
                counts[pool.key],
                books.price_that_brings(pool.drum_cents or 0.0),
                books.price_that_brings(max(0.0, worth)),
                question.vessels_of(pool.key),
            )
        )
    return DrumAdvice(
        kinds=tuple(kinds),
        grams=round(sum(counts.values()) * each),
        drum_grams=round(each),
        takes_grams=None if takes == float("inf") else round(takes),
        is_limited=plan.drums_by_month[0] >= takes * 0.999,
    )


def _gone(mean: float, variation: float, pieces: int) -> float:
    """Return the probability that all these pieces are wanted by then: as many or more."""
    return demand.chance_of_more(mean, variation, pieces - 1)


def _percent(share: float) -> int:
    """Return whole percent; what is not certain is never said to be."""
    return min(99, max(1, round(share * 100)))
