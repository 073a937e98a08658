"""Invented seasons with a seed, to see how a policy does in many years instead of one.

Demand of each month comes by chance (Poisson) about a mean by product, channel and month of the
year, times a factor of the year (gamma, mean 1) that all products share, times one of the product.
A harvest is normal about its mean and never below a fifth of it; it comes in July to September.
"""

import random
from dataclasses import dataclass

from apiary_sales.planning.season.back_test import World, WorldOutlet, WorldProduct

POUND = 453.59237
# By month of the year, January first; the mean is 1.
SEASONAL = (0.6, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.2, 1.1, 1.3, 1.5)
# Of the harvest, by month of the year.
HARVEST_SHARE = {6: 0.35, 7: 0.4, 8: 0.25}
YEARS = 5


@dataclass(frozen=True)
class SimulatedProduct:
    """One product: pounds and minutes a piece, cents of its parts, and what channels pay and take.

    `channels` are cents for a piece and pieces in a mean month, by channel.
    """

    key: str
    pounds: float
    minutes: float
    parts_cents: float
    channels: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True)
class Parameters:
    """What a simulated house is like; weights in pounds, money in cents, work in minutes."""

    products: tuple[SimulatedProduct, ...] = (
        SimulatedProduct("half", 0.5, 1.0, 60, (("stand", 560, 90), ("shop", 380, 160))),
        SimulatedProduct("pound", 1.0, 1.1, 75, (("stand", 1000, 150), ("shop", 680, 320))),
        SimulatedProduct("two", 2.0, 1.4, 95, (("stand", 1700, 70), ("shop", 1180, 90))),
        SimulatedProduct("pail", 5.0, 2.5, 180, (("stand", 3600, 20), ("shop", 2600, 20))),
        SimulatedProduct("gallon", 12.0, 3.5, 260, (("shop", 4800, 18),)),
    )
    harvest_pounds: float = 22_000
    harvest_variation: float = 0.25
    year_variation: float = 0.15
    product_variation: float = 0.10
    drum_cents: float = 220
    drum_month_pounds: float | None = 6_500
    hours: float | None = 60
    hour_cents: float = 2_000
    storage_cents: float = 0.5
    interest_year: float = 0.06


def world(parameters: Parameters, seed: int, *, years: int = YEARS) -> World:
    """Return so many years of one invented house, from a January, with this seed."""
    chance = random.Random(seed)
    months = 12 * years
    demand: dict[str, list[int]] = {}
    of_year = [_factor(chance, parameters.year_variation) for _ in range(years)]
    outlets = []
    for product in parameters.products:
        own = [_factor(chance, parameters.product_variation) for _ in range(years)]
        for channel, cents, pieces in product.channels:
            key = f"{product.key}-{channel}"
            outlets.append(WorldOutlet(key, product.key, cents))
            demand[key] = [
                _poisson(chance, pieces * SEASONAL[t % 12] * of_year[t // 12] * own[t // 12])
                for t in range(months)
            ]
    harvest = [0.0] * months
    mean = parameters.harvest_pounds * POUND
    for year in range(years):
        whole = max(mean / 5, chance.gauss(mean, parameters.harvest_variation * mean))
        for month, share in HARVEST_SHARE.items():
            harvest[12 * year + month] = whole * share
    limit = parameters.drum_month_pounds
    return World(
        first=0,
        products=tuple(
            WorldProduct(each.key, each.pounds * POUND, each.minutes, each.parts_cents)
            for each in parameters.products
        ),
        outlets=tuple(outlets),
        demand=demand,
        harvest=harvest,
        honey_grams=mean * 0.5,
        ready={each.key: 0 for each in parameters.products},
        drum_cents=parameters.drum_cents / POUND,
        kept_cents=parameters.drum_cents / POUND,
        minutes=None if parameters.hours is None else parameters.hours * 60,
        cents_per_minute=parameters.hour_cents / 60,
        drum_month_grams=None if limit is None else limit * POUND,
        storage_cents=parameters.storage_cents / POUND,
        growth=(1 + parameters.interest_year) ** (1 / 12) - 1,
    )


def _factor(chance: random.Random, variation: float) -> float:
    if variation <= 0:
        return 1.0
    shape = 1 / variation**2
    return chance.gammavariate(shape, 1 / shape)


def _poisson(chance: random.Random, mean: float) -> int:
    """Count arrivals of a stream within one unit of time."""
    count, passed = 0, chance.expovariate(mean) if mean > 0 else 2.0
    while passed < 1.0:
        count += 1
        passed += chance.expovariate(mean)
    return count
