"""What a season plan depends on, month by month; month 0 is what is left of this month."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class HoneyPool:
    """Honey of one kind, wherever it is: what comes in each month, and what a gram brings.

    `arrives` has what is there now in month 0. `drum_cents` is what a gram brings in drums after
    what selling takes; None where nobody bids for it. `kept_cents` is what a gram brings that is
    left after the last month. Products in `never_in` are not filled from it.
    """

    key: str
    arrives: tuple[float, ...]
    drum_cents: float | None
    kept_cents: float = 0.0
    never_in: frozenset[str] = frozenset()


@dataclass(frozen=True)
class SeasonProduct:
    """What one piece takes, how many are ready, and how sure its demand is.

    `variation` is by how much years differ beyond chance, as a share of the mean. `needs` are
    parts for one piece. `run_pieces` is what a usual run fills.
    """

    key: str
    grams_each: float
    minutes_each: float = 0.0
    ready: int = 0
    variation: float = 0.0
    needs: Mapping[str, float] = field(default_factory=dict)
    run_pieces: float = 100.0


@dataclass(frozen=True)
class Outlet:
    """One product in one channel: what a piece brings after selling it, and its mean demand."""

    key: str
    product: str
    cents_each: float
    mean: tuple[float, ...]


@dataclass(frozen=True)
class SeasonPart:
    """Parts in stock, what one more costs, and the first month in which ordered ones are there.

    Parts in stock are paid for already.
    """

    key: str
    stock: float
    cents: float
    first_month: int = 0


@dataclass(frozen=True)
class SeasonProblem:
    """Everything a season plan depends on. Raises `ValueError` where figures don't fit together.

    `month_share` is the share of month 0 that is left. `room_grams` is what all vessels hold; None
    where that is not known. `drum_month_grams` and `drum_year_grams` are the most that drum buyers
    take in a month, and in twelve months in a row. `growth` is interest a month, as a share.
    `harvest_variation` is by how much harvests differ, as a share of their mean, for all that
    arrives after month 0. Demand and harvest are just their means where all `is_certain`.
    """

    months: int
    pools: tuple[HoneyPool, ...]
    products: tuple[SeasonProduct, ...]
    outlets: tuple[Outlet, ...]
    parts: tuple[SeasonPart, ...] = ()
    minutes: tuple[float, ...] = ()
    cents_per_minute: float = 0.0
    minutes_per_run: float = 0.0
    room_grams: float | None = None
    drum_month_grams: float | None = None
    drum_year_grams: float | None = None
    storage_cents: float = 0.0
    growth: float = 0.0
    month_share: float = 1.0
    harvest_variation: float = 0.0
    is_certain: bool = False

    def __post_init__(self) -> None:
        for rows in (self.pools, self.products, self.outlets, self.parts):
            keys = [row.key for row in rows]
            if len(set(keys)) != len(keys):
                raise ValueError(f"Keys must differ: {keys}.")
        known = {product.key for product in self.products}
        parts = {part.key for part in self.parts}
        for outlet in self.outlets:
            if outlet.product not in known or len(outlet.mean) != self.months:
                raise ValueError(f"Outlet {outlet.key} does not fit the products and months.")
        for pool in self.pools:
            if len(pool.arrives) != self.months or min(pool.arrives) < 0:
                raise ValueError(f"HoneyPool {pool.key} does not fit the months.")
        for product in self.products:
            if product.grams_each <= 0 or not set(product.needs) <= parts:
                raise ValueError(f"Product {product.key} has no weight, or an unknown part.")
        if self.minutes and len(self.minutes) != self.months:
            raise ValueError("The hours of work do not fit the months.")

    def mean_of(self, product: str) -> tuple[float, ...]:
        """Return the mean demand for a product in each month, all channels together."""
        means = [outlet.mean for outlet in self.outlets if outlet.product == product]
        return tuple(sum(mean[t] for mean in means) for t in range(self.months))
