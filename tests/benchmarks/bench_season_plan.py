"""How long a season plan takes for a large house: 12 products, 8 channels, 18 months, 60 vessels.

Run it with `python -m tests.benchmarks.bench_season_plan`. The vessels are pooled into six kinds of
honey beforehand, as the page does it.
"""

import math
import time

from apiary_sales.planning.season import search
from apiary_sales.planning.season.problem import (
    HoneyPool,
    Outlet,
    SeasonPart,
    SeasonProblem,
    SeasonProduct,
)

PRODUCTS, CHANNELS, POOLS, MONTHS = 12, 8, 6, 18


def large_house() -> SeasonProblem:
    products = tuple(
        SeasonProduct(
            key=f"product-{number}",
            grams_each=230.0 * (number + 1),
            minutes_each=1 + number / 5,
            ready=50,
            variation=0.2,
            needs={f"jar-{number}": 1, "lid": 1},
        )
        for number in range(PRODUCTS)
    )
    outlets = tuple(
        Outlet(
            f"{product.key}-{channel}",
            product.key,
            product.grams_each * (2 - channel / 12),
            tuple(20 * (1 + math.sin(month) / 2) for month in range(MONTHS)),
        )
        for product in products
        for channel in range(CHANNELS)
    )
    parts = (
        *(SeasonPart(f"jar-{number}", 100, 60, 1) for number in range(PRODUCTS)),
        SeasonPart("lid", 2_000, 10),
    )
    rest = (0.0,) * (MONTHS - 1)
    harvest = (*(0.0,) * 9, 5e6, 5e6, 3e6, *(0.0,) * (MONTHS - 12))
    pools = (
        *(
            HoneyPool(f"pool-{number}", (1.7e6, *rest), 0.5 + number / 100, 0.5)
            for number in range(POOLS)
        ),
        HoneyPool("new", harvest, 0.52, 0.5),
    )
    return SeasonProblem(
        months=MONTHS,
        pools=pools,
        products=products,
        outlets=outlets,
        parts=parts,
        minutes=(6_000.0,) * MONTHS,
        cents_per_minute=33.0,
        room_grams=1.5e7,
        drum_month_grams=2e6,
        storage_cents=2e-5,
        growth=0.004,
        harvest_variation=0.25,
    )


def main() -> None:
    problem = large_house()
    for name in ("first, with the steps of demand", "again"):
        began = time.process_time()
        plan = search.solve(problem)
        print(f"{name}: {time.process_time() - began:.2f} s of the processor, {plan.cases} cases")


if __name__ == "__main__":
    main()
