"""Plans of the past, carried out month by month against what came, and simple rules beside them.

In each month a policy sees only what had been recorded by then: sales (never more than there was
to sell), harvests, stock. It says what to bottle and how much to sell in drums. That is done as far
as honey, hours and drum buyers allow, then the demand of the month comes, which it has not seen.
The earnings of all policies are counted in the same way.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True)
class WorldProduct:
    """What one piece takes: grams, minutes and the cost of its parts."""

    key: str
    grams_each: float
    minutes_each: float
    parts_cents: float


@dataclass(frozen=True)
class WorldOutlet:
    """One product in one channel, and what a piece brings after selling it."""

    key: str
    product: str
    cents_each: float


@dataclass(frozen=True)
class World:
    """What came, month by month, and what a house can do about it.

    Months are counted without end (year times 12 plus month, January 0); the first is `first`.
    `demand` is what was wanted by outlet, `harvest` the grams extracted.
    """

    first: int
    products: tuple[WorldProduct, ...]
    outlets: tuple[WorldOutlet, ...]
    demand: Mapping[str, Sequence[int]]
    harvest: Sequence[float]
    honey_grams: float
    ready: Mapping[str, int]
    drum_cents: float
    kept_cents: float
    minutes: float | None = None
    cents_per_minute: float = 0.0
    drum_month_grams: float | None = None
    storage_cents: float = 0.0
    growth: float = 0.0

    @property
    def months(self) -> int:
        return len(self.harvest)

    @property
    def product_of(self) -> dict[str, WorldProduct]:
        return {product.key: product for product in self.products}


@dataclass
class Seen:
    """What is known at the beginning of a month, `month` counted from the first of the world."""

    world: World
    month: int
    honey_grams: float
    ready: dict[str, int]
    # Recorded so far, a figure a month.
    sold: dict[str, list[int]]
    harvested: list[float] = field(default_factory=list)

    @property
    def calendar(self) -> int:
        """This month, counted without end."""
        return self.world.first + self.month

    def sold_of(self, product: str, month: int) -> int:
        """Return the pieces of a product sold in an earlier month, in all outlets."""
        return sum(
            self.sold[outlet.key][month]
            for outlet in self.world.outlets
            if outlet.product == product and 0 <= month < self.month
        )

    def honey_wanted(self, months: range) -> float:
        """Return the honey in what was sold in those months."""
        return sum(
            product.grams_each * self.sold_of(product.key, month)
            for product in self.world.products
            for month in months
        )


@dataclass(frozen=True)
class Decision:
    """What to do in a month: pieces to fill by product, grams to sell in drums."""

    bottle: Mapping[str, float]
    drum_grams: float


Policy = Callable[[Seen], Decision]


@dataclass(frozen=True)
class Outcome:
    """What a policy earned in the months that count, and what became of the demand."""

    cents: float
    jars_sold: int
    jars_wanted: int
    drum_grams: float
    left_grams: float

    @property
    def served(self) -> float:
        return self.jars_sold / self.jars_wanted if self.jars_wanted else 1.0


def run(world: World, policy: Policy, *, warm_up: Policy, begins: int) -> Outcome:
    """Carry out `warm_up` until the month `begins`, then `policy`; count from that month on.

    The stock on that day is the same for every policy; what is left at the end counts as honey
    that is kept, jars with their parts.
    """
    seen = Seen(
        world,
        0,
        world.honey_grams,
        dict(world.ready),
        {outlet.key: [] for outlet in world.outlets},
    )
    cents = drums = 0.0
    sold = wanted = 0
    for month in range(world.months):
        seen.month = month
        counts = month >= begins
        # What is extracted in a month can be bottled and sold in it.
        seen.honey_grams += world.harvest[month]
        seen.harvested.append(world.harvest[month])
        decision = (policy if counts else warm_up)(seen)
        filled = _filled(seen, decision)
        drum_grams = _drums(seen, decision)
        pieces, earned = _sales(seen)
        costs = sum(
            count
            * (
                world.product_of[key].parts_cents
                + world.product_of[key].minutes_each * world.cents_per_minute
            )
            for key, count in filled.items()
        )
        in_jars = sum(world.product_of[key].grams_each * count for key, count in seen.ready.items())
        costs += world.storage_cents * (seen.honey_grams + in_jars)
        if counts:
            worth = 1 / (1 + world.growth) ** (month - begins)
            cents += worth * (earned + drum_grams * world.drum_cents - costs)
            drums += drum_grams
            sold += pieces
            wanted += sum(rows[month] for rows in world.demand.values())
    in_jars = sum(world.product_of[key].grams_each * count for key, count in seen.ready.items())
    left = (seen.honey_grams + in_jars) * world.kept_cents
    left += sum(world.product_of[key].parts_cents * count for key, count in seen.ready.items())
    cents += left / (1 + world.growth) ** (world.months - begins)
    return Outcome(cents, sold, wanted, drums, seen.honey_grams + in_jars)


def _filled(seen: Seen, decision: Decision) -> dict[str, int]:
    """Fill what was decided, as far as honey and hours allow, all products alike."""
    world = seen.world
    wish = {key: max(0.0, pieces) for key, pieces in decision.bottle.items()}
    honey = sum(world.product_of[key].grams_each * pieces for key, pieces in wish.items())
    minutes = sum(world.product_of[key].minutes_each * pieces for key, pieces in wish.items())
    part = 1.0
    if honey > seen.honey_grams:
        part = seen.honey_grams / honey
    if world.minutes is not None and minutes > world.minutes:
        part = min(part, world.minutes / minutes)
    filled = {key: int(pieces * part + 1e-9) for key, pieces in wish.items()}
    for key, count in filled.items():
        seen.ready[key] += count
        seen.honey_grams -= world.product_of[key].grams_each * count
    return filled


def _drums(seen: Seen, decision: Decision) -> float:
    grams = min(max(0.0, decision.drum_grams), max(0.0, seen.honey_grams))
    if seen.world.drum_month_grams is not None:
        grams = min(grams, seen.world.drum_month_grams)
    seen.honey_grams -= grams
    return grams


def _sales(seen: Seen) -> tuple[int, float]:
    """Let the demand of the month come; the outlets that pay most are served first."""
    pieces, cents = 0, 0.0
    for outlet in sorted(seen.world.outlets, key=lambda outlet: -outlet.cents_each):
        count = min(seen.world.demand[outlet.key][seen.month], seen.ready[outlet.product])
        seen.ready[outlet.product] -= count
        seen.sold[outlet.key].append(count)
        pieces += count
        cents += count * outlet.cents_each
    return pieces, cents
