"""What the books give to the season plan, made into its problem; weights grams, money in cents."""

import calendar
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import cast

from django.utils.translation import gettext as _

from apiary_sales.planning.models import SeasonOutlook
from apiary_sales.planning.rules.demand import Outlook
from apiary_sales.planning.season import expect
from apiary_sales.planning.season.problem import (
    HoneyPool,
    Outlet,
    SeasonPart,
    SeasonProblem,
    SeasonProduct,
)
from apiary_sales.pricing.models import ChannelCost
from inventory.bottling.models import PackagingPart, Product
from inventory.shared.days import month_number, months_later
from inventory.shared.weights import unit_grams

MONTHS_MAX = 18
# Without a harvest in sight the plan goes on so far; with one, so far into it.
MONTHS_USUAL, MONTHS_OF_HARVEST = 12, 3
# With fewer months known of a product and channel, nothing is made up for the others.
MONTHS_KNOWN_MIN = 3
NEW_HONEY = "new"
# Parts that arrive by this day of a month can be used in it.
ARRIVES_BY = 15


@dataclass(frozen=True)
class HoneyState:
    """Honey of ours in one vessel that may be used, and its price in drums by weight."""

    name: str
    grams: int
    price: Decimal | None
    misfits: frozenset[int]


@dataclass(frozen=True)
class LeftHoney:
    """Honey that the plan does not use, and why."""

    name: str
    grams: int
    because: str


@dataclass(frozen=True)
class PieceState:
    """One product: what a piece takes, what is ready, and what parts go into one."""

    product: Product
    grams_each: float
    minutes_each: Decimal | None
    ready: int
    needs: Mapping[int, float]

    @property
    def key(self) -> str:
        return str(self.product.pk)


@dataclass(frozen=True)
class DemandState:
    """A product in a channel: what a piece brings after selling it, and its history.

    `sold` is by month, counted without end (year times 12 plus month), `known` the months of
    which it is known.
    """

    product: Product
    channel: str
    net_cents: float
    sold: Mapping[int, int]
    known: tuple[int, ...]

    @property
    def key(self) -> str:
        return f"{self.product.pk}-{self.channel}"

    @property
    def name(self) -> str:
        return f"{self.product.name}, {ChannelCost.Channel(self.channel).label}"


@dataclass(frozen=True)
class PartOnHand:
    """Parts in stock that no planned run needs, and what one more costs; None where unknown."""

    part: PackagingPart
    stock: int
    cents: float | None

    @property
    def key(self) -> str:
        return str(self.part.pk)


@dataclass(frozen=True)
class SeasonBooks:
    """All that the season plan is made of, as it was read on one day.

    `harvests` are grams by season and month of the year, `extracted_this_month` those of this one;
    `drums_sold` grams of bulk honey by month
    counted without end. `new_price` is what new honey is reckoned to bring in drums: the average
    of what is there now. `drum_cost` takes a price by weight and says what it brings after
    selling; `priceless` are products with sales or stock that have no price.
    """

    on: date
    outlook: SeasonOutlook
    honeys: tuple[HoneyState, ...]
    left_honey: tuple[LeftHoney, ...]
    pieces: tuple[PieceState, ...]
    demands: tuple[DemandState, ...]
    priceless: tuple[str, ...]
    too_new: tuple[str, ...]
    other_forms: tuple[str, ...]
    parts: tuple[PartOnHand, ...]
    harvests: Mapping[int, Mapping[int, int]]
    extracted_this_month: int
    drums_sold: Mapping[int, int]
    drums_known: tuple[int, ...]
    list_price: Decimal | None
    drum_kept_share: float
    drum_cost: float
    room_grams: int
    rooms_unknown: tuple[str, ...]
    labour_cents_per_hour: int
    planned_runs: int

    @property
    def now(self) -> int:
        """This month, counted without end."""
        return month_number(self.on)

    def month(self, ahead: int) -> date:
        return months_later(self.on.replace(day=1), ahead)

    @property
    def month_share(self) -> float:
        """The share of this month that is left, today among it."""
        days = calendar.monthrange(self.on.year, self.on.month)[1]
        return (days - self.on.day + 1) / days

    def net_cents(self, price: Decimal) -> float:
        """Return what a gram brings in drums at a price by weight, in cents."""
        per_unit = float(price) * 100 * self.drum_kept_share - self.drum_cost * 100
        return per_unit / float(unit_grams())

    def price_that_brings(self, cents_per_gram: float) -> Decimal:
        """Return the price by weight that leaves so many cents a gram, rounded up to a cent."""
        if self.drum_kept_share <= 0:
            return Decimal(0)
        cents = (cents_per_gram * float(unit_grams()) + self.drum_cost * 100) / self.drum_kept_share
        # What only the search made a little more of is not rounded up.
        return (Decimal(str(round(cents, 2))) / 100).quantize(Decimal("0.01"), "ROUND_CEILING")


@dataclass(frozen=True)
class HarvestExpected:
    """What is expected in each month of the plan, and by how much a whole harvest can differ.

    `seasons` is how many past ones it is from, 0 for what the owner typed; None where nothing is
    known. `spread` is None with fewer than two. `late` is what is still to come this month: it
    counts from the next one on.
    """

    grams: tuple[float, ...]
    total: float
    spread: float | None
    seasons: int | None
    first: int | None
    late: float


@dataclass(frozen=True)
class SeasonQuestion:
    """The books made into a problem, with what was taken for granted on the way."""

    books: SeasonBooks
    problem: SeasonProblem
    harvest: HarvestExpected
    years: int
    variation: float | None
    guessed: tuple[str, ...]
    drum_year_grams: int | None
    is_drum_limit_typed: bool
    parts_unknown: tuple[PackagingPart, ...]
    minutes_unknown: tuple[str, ...]

    @property
    def parts_unlisted(self) -> tuple[str, ...]:
        """Return the products with sales of which no part is listed."""
        wanted = {demand.product.pk for demand in self.books.demands}
        return tuple(
            row.product.name
            for row in self.books.pieces
            if row.product.pk in wanted and not row.needs
        )

    @property
    def last_month(self) -> date:
        return self.books.month(self.problem.months - 1)

    def vessels_of(self, pool: str) -> tuple[str, ...]:
        """Return the names of the vessels whose honey is in a pool."""
        return tuple(
            honey.name
            for number, honeys in enumerate(_alike(self.books).values())
            for honey in honeys
            if pool == f"pool-{number}"
        )


def harvest_expected(books: SeasonBooks) -> HarvestExpected:
    """Return what is typed of the next harvest, or else the mean of past ones, by month."""
    outlook = books.outlook
    totals = {season: sum(months.values()) for season, months in books.harvests.items()}
    by_month: dict[int, float] = defaultdict(float)
    for months in books.harvests.values():
        for month, extracted in months.items():
            by_month[month] += extracted
    whole = sum(by_month.values())
    share = {month: grams / whole for month, grams in by_month.items()} if whole else {}
    mean = whole / len(totals) if totals else 0.0
    variation = expect.variation([float(total) for total in totals.values()])
    spread = None if variation is None else variation * mean
    seasons: int | None = len(totals) or None
    if outlook.harvest_grams is not None:
        shape = sorted(share)
        if outlook.harvest_month is not None:
            first = outlook.harvest_month
            moved = {}
            begins = _begins(share)
            for month in shape:
                moved[(month - begins + first - 1) % 12 + 1] = share[month]
            share = moved or {first: 1.0}
        if not share:
            share = {7: 1.0}
        mean, seasons = float(outlook.harvest_grams), 0
        # Harvests differ by as much of what is expected as they did before.
        spread = None if variation is None else variation * mean
    if outlook.harvest_spread_grams is not None:
        spread = float(outlook.harvest_spread_grams)
    of_this_month = mean * share.get(books.on.month, 0.0)
    late = max(0.0, of_this_month - books.extracted_this_month)
    if outlook.harvest_grams is None:
        # By the books, no more than what the days left are likely to bring.
        late = min(late, of_this_month * books.month_share)
    grams = tuple(
        0.0 if ahead == 0 else mean * share.get(books.month(ahead).month, 0.0) + late * (ahead == 1)
        for ahead in range(MONTHS_MAX)
    )
    first_ahead = next(
        (
            ahead
            for ahead in range(1, MONTHS_MAX)
            if mean * share.get(books.month(ahead).month, 0.0)
            and not share.get(books.month(ahead - 1).month, 0.0)
        ),
        None,
    )
    return HarvestExpected(grams, mean, spread, seasons, first_ahead, late)


def _begins(share: Mapping[int, float]) -> int:
    """Return the month in which a harvest begins: the first after a month without any."""
    found = [month for month in share if share.get((month - 2) % 12 + 1, 0.0) == 0.0]
    return min(found, default=min(share, default=1))


def question_of(books: SeasonBooks) -> SeasonQuestion:
    """Make the problem of the season from the books and what the owner typed."""
    outlook, harvest = books.outlook, harvest_expected(books)
    months = MONTHS_USUAL
    if harvest.first is not None:
        months = min(MONTHS_MAX, harvest.first + MONTHS_OF_HARVEST)
    variations, weights, years = _variations(books)
    house = expect.shared(variations.values(), weights.values())
    least = expect.GUESSED_OF_SALES if house is None else house
    products, minutes_unknown = [], []
    for row in books.pieces:
        if row.minutes_each is None:
            minutes_unknown.append(row.product.name)
        products.append(
            SeasonProduct(
                key=row.key,
                grams_each=row.grams_each,
                minutes_each=float(row.minutes_each or 0),
                ready=max(0, row.ready),
                variation=max(variations[row.key] or 0.0, least),
                needs={str(part): quantity for part, quantity in row.needs.items()},
            )
        )
    variation_of = {product.key: product.variation for product in products}
    outlets, guessed = [], []
    for demand in books.demands:
        means, is_guess = _means(books, demand, months)
        factor = _factor(outlook.outlook, variation_of[str(demand.product.pk)])
        outlets.append(
            Outlet(
                demand.key,
                str(demand.product.pk),
                demand.net_cents,
                tuple(mean * factor for mean in means),
            )
        )
        if is_guess:
            guessed.append(demand.name)
    year_grams = outlook.drum_year_grams
    if year_grams is None and outlook.drum_month_grams is None:
        year_grams = most_in_a_year(books)
    return SeasonQuestion(
        books=books,
        problem=SeasonProblem(
            months=months,
            pools=_pools(books, harvest, months),
            products=tuple(products),
            outlets=tuple(outlets),
            parts=tuple(_part(books, row) for row in books.parts),
            minutes=_minutes(books, months),
            cents_per_minute=books.labour_cents_per_hour / 60,
            room_grams=_room(books),
            drum_month_grams=_float(outlook.drum_month_grams),
            drum_year_grams=_float(year_grams),
            storage_cents=float(outlook.storage_per_pound or 0) * 100 / float(unit_grams()),
            growth=(1 + float(outlook.interest_percent or 0) / 100) ** (1 / 12) - 1,
            month_share=books.month_share,
            harvest_variation=_harvest_variation(harvest),
        ),
        harvest=harvest,
        years=years,
        variation=house,
        guessed=tuple(guessed),
        drum_year_grams=year_grams,
        is_drum_limit_typed=outlook.drum_year_grams is not None
        or outlook.drum_month_grams is not None,
        parts_unknown=tuple(row.part for row in books.parts if row.cents is None),
        minutes_unknown=tuple(minutes_unknown),
    )


def _harvest_variation(harvest: HarvestExpected) -> float:
    if harvest.spread is None:
        return expect.GUESSED_OF_HARVEST
    return min(expect.MOST, harvest.spread / harvest.total) if harvest.total else 0.0


def _factor(outlook: str, variation: float) -> float:
    """Return what the owner counts on as a share of the mean: 1, or its variation less or more."""
    match Outlook(outlook):
        case Outlook.CAREFUL:
            return max(0.0, 1 - variation)
        case Outlook.HOPEFUL:
            return 1 + variation
    return 1.0


def most_in_a_year(books: SeasonBooks) -> int | None:
    """Return the most honey that was sold in bulk in twelve months in a row; None without any."""
    if not books.drums_sold:
        return None
    return max(
        sum(books.drums_sold.get(month, 0) for month in range(first, first + 12))
        for first in range(min(books.drums_sold), max(books.drums_sold) + 1)
    )


def _room(books: SeasonBooks) -> float | None:
    """Return the room that is typed, or else that of the vessels; None where none is known."""
    typed = books.outlook.room_grams
    if typed is not None:
        return float(typed)
    return float(books.room_grams) if books.room_grams else None


def _float(grams: int | None) -> float | None:
    return None if grams is None else float(grams)


def _variations(books: SeasonBooks) -> tuple[dict[str, float | None], dict[str, float], int]:
    """Return by how much the years of each product differ, its weight, and the most years known."""
    variations: dict[str, float | None] = {}
    weights: dict[str, float] = {}
    years = 0
    for row in books.pieces:
        mine = [each for each in books.demands if each.product.pk == row.product.pk]
        sold: dict[int, float] = defaultdict(float)
        for each in mine:
            for month, pieces in each.sold.items():
                sold[month] += pieces
        known = sorted({month for each in mine for month in each.known})
        totals = expect.year_totals(sold, known, books.now)
        years = max(years, len(totals))
        variations[row.key] = expect.variation(totals)
        weights[row.key] = sum(totals) * row.grams_each
    return variations, weights, years


def _means(books: SeasonBooks, demand: DemandState, months: int) -> tuple[list[float], bool]:
    """Return the mean demand of each month ahead, and whether some of it is a guess.

    Where no year of a month is known, the mean of all known months stands in for it.
    """
    all_known = [demand.sold.get(month, 0) for month in demand.known]
    level = sum(all_known) / len(all_known) if all_known else 0.0
    found, is_guess = [], False
    for ahead in range(months):
        mean = expect.month_mean(demand.sold, demand.known, books.now + ahead)
        if mean is None:
            mean, is_guess = level, True
        found.append(mean * books.month_share if ahead == 0 else mean)
    return found, is_guess


def _alike(
    books: SeasonBooks,
) -> dict[tuple[Decimal | None, frozenset[int]], list[HoneyState]]:
    """Return the honey that brings the same in drums and goes into the same products together."""
    found: dict[tuple[Decimal | None, frozenset[int]], list[HoneyState]] = defaultdict(list)
    for honey in books.honeys:
        found[honey.price, honey.misfits].append(honey)
    return found


def _pools(books: SeasonBooks, harvest: HarvestExpected, months: int) -> tuple[HoneyPool, ...]:
    """HoneyPool honey that brings the same in drums and goes into the same products."""
    typed = books.outlook.kept_per_pound
    found = []
    for number, ((price, misfits), honeys) in enumerate(_alike(books).items()):
        there = sum(honey.grams for honey in honeys)
        drum = None if price is None else books.net_cents(price)
        kept = drum if typed is None else books.net_cents(typed)
        found.append(
            HoneyPool(
                key=f"pool-{number}",
                arrives=(float(there), *(0.0,) * (months - 1)),
                drum_cents=drum if drum is None or drum > 0 else None,
                kept_cents=max(0.0, kept or 0.0),
                never_in=frozenset(str(pk) for pk in misfits),
            )
        )
    if any(harvest.grams[:months]):
        drum = None if books.list_price is None else books.net_cents(books.list_price)
        kept = drum if typed is None else books.net_cents(typed)
        found.append(
            HoneyPool(
                key=NEW_HONEY,
                arrives=harvest.grams[:months],
                drum_cents=drum if drum is None or drum > 0 else None,
                kept_cents=max(0.0, kept or 0.0),
                # Nobody knows yet which varieties the new honey will be.
                never_in=frozenset(row.key for row in books.pieces if row.product.variety_id),
            )
        )
    return tuple(found)


def _part(books: SeasonBooks, row: PartOnHand) -> SeasonPart:
    return SeasonPart(row.key, row.stock, row.cents or 0.0, first_month(books, row.part))


def first_month(books: SeasonBooks, part: PackagingPart) -> int:
    """Return the first month in which parts that are ordered today can be used.

    They can where they arrive by the middle of it; without a known lead time, at once.
    """
    days = part.lead_time_days or 0
    if not days:
        return 0
    arrives = date.fromordinal(books.on.toordinal() + days)
    ahead = month_number(arrives) - books.now
    return min(MONTHS_MAX, ahead + (1 if arrives.day > ARRIVES_BY else 0))


def _minutes(books: SeasonBooks, months: int) -> tuple[float, ...]:
    outlook = books.outlook
    by_month = cast(Mapping[str, str], outlook.hours_by_month)
    if outlook.hours is None and not by_month:
        return ()
    found = []
    for ahead in range(months):
        own = by_month.get(str(books.month(ahead).month))
        hours = Decimal(own) if own is not None else outlook.hours
        # Hours of a month that nobody typed are not limited.
        minutes = 1e9 if hours is None else float(hours) * 60
        found.append(minutes * books.month_share if ahead == 0 else minutes)
    return tuple(found)


def because_on_hold() -> str:
    return _("on hold")


def because_of_others() -> str:
    return _("belongs to another beekeeper")


def because_moisture_unknown() -> str:
    return _("its moisture is not known")


def because_above_limit() -> str:
    return _("above your limit of moisture")


def because_promised() -> str:
    return _("promised to orders, planned runs or drafts")
