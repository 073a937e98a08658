"""Policies for a back-test: the season plan, simple rules, and the plan with hindsight."""

from collections.abc import Mapping, Sequence

from apiary_sales.planning.season import expect
from apiary_sales.planning.season.back_test import Decision, Seen
from apiary_sales.planning.season.problem import (
    HoneyPool,
    Outlet,
    SeasonPart,
    SeasonProblem,
    SeasonProduct,
)

WEEKS_OF_COVER = 8
MONTHS_MAX = 18
MONTHS_OF_HARVEST = 3
# What a careful keeper sets aside beyond last year's sales.
RESERVE = 1.1


def season_plan(seen: Seen) -> Decision:
    """Do what the season plan says for this month, with what is known now."""
    return _first_month(seen, None)


def with_hindsight(seen: Seen) -> Decision:
    """Do what the season plan says when it is told demand and harvest beforehand.

    No policy can do this; it shows how much is left to gain.
    """
    return _first_month(seen, seen.world.demand)


def all_in_drums(seen: Seen) -> Decision:
    """Sell all honey in drums as soon as it is there."""
    return Decision({}, seen.honey_grams)


def last_year(seen: Seen) -> Decision:
    """Bottle what the same month of last year sold; sell in drums what that leaves.

    At harvest as much is set aside as a whole year sold; the rest goes to drum buyers at once.
    """
    return _last_year(seen, 1.0)


def last_year_and_a_tenth(seen: Seen) -> Decision:
    """Do the same with a tenth more of each."""
    return _last_year(seen, RESERVE)


def weeks_of_cover(seen: Seen) -> Decision:
    """Keep eight weeks of jars on hand, by the sales of the last eight; drums as by last year."""
    months = WEEKS_OF_COVER * 7 / 30.4
    bottle = {}
    for product in seen.world.products:
        recent = [seen.sold_of(product.key, seen.month - back) for back in (1, 2)]
        bottle[product.key] = max(0.0, sum(recent) / 2 * months - seen.ready[product.key])
    return Decision(bottle, _beyond_a_year(seen, 1.0))


def proportional(seen: Seen) -> Decision:
    """Sell half of the harvest in drums at once; bottle a twelfth of last year's sales a month."""
    bottle = {
        product.key: sum(seen.sold_of(product.key, seen.month - back) for back in range(1, 13)) / 12
        for product in seen.world.products
    }
    return Decision(bottle, seen.harvested[-1] / 2)


def settled(seen: Seen) -> Decision:
    """Bottle enough for this month and the next, as a house does that knows its buyers.

    It sees the demand, so that the history before a back-test is whole; it is no rival.
    """
    bottle = {}
    for product in seen.world.products:
        coming = sum(
            sum(seen.world.demand[outlet.key][seen.month : seen.month + 2])
            for outlet in seen.world.outlets
            if outlet.product == product.key
        )
        bottle[product.key] = max(0.0, coming - seen.ready[product.key])
    return Decision(bottle, _beyond_a_year(seen, 1.0) if seen.month >= 12 else 0.0)


RULES = {
    "all_in_drums": all_in_drums,
    "last_year": last_year,
    "last_year_and_a_tenth": last_year_and_a_tenth,
    "weeks_of_cover": weeks_of_cover,
    "proportional": proportional,
}


def problem_of(seen: Seen, told: Mapping[str, Sequence[int]] | None = None) -> SeasonProblem:
    """Make the season problem of what is known at the beginning of this month."""
    world, now = seen.world, seen.calendar
    known = list(range(world.first, now))
    months = _horizon(seen)
    sold = {
        outlet.key: dict(zip(known, seen.sold[outlet.key], strict=True)) for outlet in world.outlets
    }
    variations, weights = {}, {}
    for product in world.products:
        by_month: dict[int, float] = {}
        for outlet in world.outlets:
            if outlet.product == product.key:
                for month, pieces in sold[outlet.key].items():
                    by_month[month] = by_month.get(month, 0) + pieces
        totals = expect.year_totals(by_month, known, now)
        variations[product.key] = expect.variation(totals)
        weights[product.key] = sum(totals) * product.grams_each
    house = expect.shared(variations.values(), weights.values())
    house = expect.GUESSED_OF_SALES if house is None else house
    harvest = dict(zip(known, seen.harvested, strict=False))
    totals = expect.year_totals(harvest, known, now)
    harvest_variation = 0.0 if told else expect.variation(totals)
    arrives = [seen.honey_grams]
    for ahead in range(1, months):
        arrives.append(expect.month_mean(harvest, known, now + ahead) or 0.0)
    outlets = []
    for outlet in world.outlets:
        means = [
            expect.month_mean(sold[outlet.key], known, now + ahead) or 0.0
            for ahead in range(months)
        ]
        outlets.append(Outlet(outlet.key, outlet.product, outlet.cents_each, tuple(means)))
    if told is not None:
        months = min(months, world.months - seen.month)
        arrives = [seen.honey_grams, *world.harvest[seen.month + 1 : seen.month + months]]
        outlets = [
            Outlet(
                outlet.key,
                outlet.product,
                outlet.cents_each,
                tuple(told[outlet.key][seen.month : seen.month + months]),
            )
            for outlet in world.outlets
        ]
    return SeasonProblem(
        months=months,
        pools=(HoneyPool("honey", tuple(arrives), world.drum_cents, world.kept_cents),),
        products=tuple(
            SeasonProduct(
                product.key,
                product.grams_each,
                product.minutes_each,
                seen.ready[product.key],
                0.0 if told else max(variations[product.key] or 0.0, house),
                {product.key: 1.0},
            )
            for product in world.products
        ),
        outlets=tuple(outlets),
        parts=tuple(SeasonPart(product.key, 0, product.parts_cents) for product in world.products),
        minutes=() if world.minutes is None else (world.minutes,) * months,
        cents_per_minute=world.cents_per_minute,
        drum_month_grams=world.drum_month_grams,
        storage_cents=world.storage_cents,
        growth=world.growth,
        harvest_variation=expect.GUESSED_OF_HARVEST
        if harvest_variation is None
        else harvest_variation,
        is_certain=told is not None,
    )


def _first_month(seen: Seen, told: Mapping[str, Sequence[int]] | None) -> Decision:
    from apiary_sales.planning.season import search

    problem = problem_of(seen, told)
    plan = search.solve(problem)
    bottle = {product.key: plan.bottled_of(product.key)[0] for product in problem.products}
    # Whole pieces, to the nearest one.
    whole = {key: float(round(pieces)) for key, pieces in bottle.items()}
    return Decision(whole, plan.drums_by_month[0])


def _last_year(seen: Seen, more: float) -> Decision:
    bottle = {
        product.key: max(
            0.0, more * seen.sold_of(product.key, seen.month - 12) - seen.ready[product.key]
        )
        for product in seen.world.products
    }
    return Decision(bottle, _beyond_a_year(seen, more))


def _beyond_a_year(seen: Seen, more: float) -> float:
    """Return the honey beyond what the sales until a year from now need, where some came in."""
    if not seen.harvested[-1]:
        return 0.0
    wanted = seen.honey_wanted(range(max(0, seen.month - 12), seen.month)) * more
    in_jars = sum(
        seen.world.product_of[key].grams_each * count for key, count in seen.ready.items()
    )
    return max(0.0, seen.honey_grams + in_jars - wanted)


def _horizon(seen: Seen) -> int:
    """Return how many months it is to the end of the next harvest's first months, 18 at most."""
    harvest = seen.harvested[:-1]
    for ahead in range(1, MONTHS_MAX):
        same: Sequence[float] = [
            grams
            for month, grams in enumerate(harvest)
            if (seen.world.first + month) % 12 == (seen.calendar + ahead) % 12
        ]
        began = ahead > MONTHS_OF_HARVEST or not seen.harvested[-1]
        if began and sum(same) > 0:
            return min(MONTHS_MAX, ahead + MONTHS_OF_HARVEST)
    return min(MONTHS_MAX, 12 + MONTHS_OF_HARVEST)
