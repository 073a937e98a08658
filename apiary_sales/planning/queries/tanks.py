"""How long honey was in a tank before it was bottled, and how much room the vessels have."""

from collections import defaultdict, deque
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import cast

from django.db.models import Min, Sum
from django.utils import timezone

from apiary_sales.planning.rules.demand import Period
from apiary_sales.pricing.queries import costs
from inventory.shared.days import years_before
from inventory.stock import density
from inventory.stock.models import Balance, Item, Lot, Place, PostingLine

WEEK = Decimal(7)
YEARS_BACK = 5
# Room is reckoned for honey of this moisture, at which jars are usually filled.
USUAL_MOISTURE_PERCENT = Decimal("17.5")


@dataclass(frozen=True)
class TankRoom:
    """How much honey goes into the vessels that are there, in grams.

    `tanks` is the free room of tanks, `others` that of empty drums, pails and totes. Vessels whose
    capacity is not entered are `unmeasured`, and are not counted.
    """

    tanks: int
    others: int
    unmeasured: tuple[Place, ...]
    is_measured: bool

    @property
    def all(self) -> int:
        return self.tanks + self.others


def weeks_in_tank(on: date) -> dict[int, Decimal]:
    """Return by product how many weeks its honey was in a tank, averaged over the grams of its
    runs of the year up to `on`, in two queries.

    What came into a tank first is taken to leave it first. A day begun is a day. Products that
    were not filled from a tank are left out.
    """
    product_of = dict(
        costs.runs_recorded(on)
        .filter(source__kind=Place.Kind.TANK)
        .values_list("posting_id", "product_id")
    )
    if not product_of:
        return {}
    gram_days: dict[int, int] = defaultdict(int)
    grams_of: dict[int, int] = defaultdict(int)
    layers: dict[int, deque[tuple[date, int]]] = defaultdict(deque)
    lines = (
        PostingLine.objects.standing()
        .filter(item__kind=Item.Kind.HONEY, place__kind=Place.Kind.TANK)
        .order_by()
        .values("posting_id", "place_id", "posting__occurred_at")
        .annotate(change=Sum("quantity"))
        .exclude(change=0)
        .order_by("posting__occurred_at", "posting_id")
        .values_list("posting_id", "place_id", "posting__occurred_at", "change")
    )
    for posting, place, moment, change in lines:
        day = timezone.localdate(moment)
        if change > 0:
            layers[place].append((day, change))
            continue
        product = product_of.get(posting)
        for came, grams in _taken(layers[place], -change):
            if product is not None:
                gram_days[product] += grams * max(1, (day - came).days)
                grams_of[product] += grams
    return {pk: Decimal(gram_days[pk]) / grams / WEEK for pk, grams in grams_of.items()}


def _taken(layers: deque[tuple[date, int]], grams: int) -> Iterable[tuple[date, int]]:
    """Take grams off the oldest layers, and tell the day on which each came."""
    while grams and layers:
        came, there = layers.popleft()
        taken = min(grams, there)
        if taken < there:
            layers.appendleft((came, there - taken))
        grams -= taken
        yield came, taken


def room() -> TankRoom:
    """Return how much honey goes into the vessels as they are now, in two queries."""
    there = dict(
        Balance.objects.filter(item__kind=Item.Kind.HONEY, is_vessel=True, quantity__gt=0)
        .order_by()
        .values("place_id")
        .annotate(grams=Sum("quantity"))
        .values_list("place_id", "grams")
    )
    vessels = list(Place.objects.filter(kind__in=Place.VESSELS, is_active=True))
    measured = [place for place in vessels if place.capacity_litres is not None]
    tanks = [place for place in measured if place.kind == Place.Kind.TANK]
    empty = [place for place in measured if place.kind != Place.Kind.TANK and place.pk not in there]
    return TankRoom(
        tanks=sum(max(0, _holds(place) - there.get(place.pk, 0)) for place in tanks),
        others=sum(_holds(place) for place in empty),
        unmeasured=tuple(
            place
            for place in vessels
            if place.capacity_litres is None
            and (place.kind == Place.Kind.TANK or place.pk not in there)
        ),
        is_measured=bool(tanks),
    )


def expected_grams(coming: Period) -> int | None:
    """Return the grams that came in from harvests and suppliers in these days of earlier years.

    The average of the years since the first lot; None while there is no such year, since one
    that had not begun in these days tells nothing.
    """
    bulk = Lot.objects.filter(
        kind__in=[Lot.Kind.EXTRACTION, Lot.Kind.BOUGHT], owner=None, product=None
    )
    first = bulk.aggregate(first=Min("made_on"))["first"]
    earlier = [
        Period(years_before(coming.first, years), years_before(coming.last, years))
        for years in range(1, YEARS_BACK + 1)
    ]
    known = [period for period in earlier if first and first <= period.first]
    if not known:
        return None
    came = dict(
        cast(
            Iterable[tuple[date, int]],
            bulk.filter(made_on__gte=known[-1].first, made_on__lte=known[0].last)
            .order_by()
            .values("made_on")
            .annotate(grams=Sum("quantity_made"))
            .values_list("made_on", "grams"),
        )
    )
    sums = [
        sum(grams for day, grams in came.items() if period.first <= day <= period.last)
        for period in known
    ]
    return round(sum(sums) / len(sums))


def _holds(place: Place) -> int:
    """Return the grams of usual honey that fill a vessel whose capacity is known."""
    return density.grams_of(
        cast(Decimal, place.capacity_litres),
        moisture_percent=USUAL_MOISTURE_PERCENT,
        celsius=density.REFERENCE_CELSIUS,
    ).grams
